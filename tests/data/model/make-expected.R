# Rscript make-expected.R > expected.csv   (R 4.2.2, nlme 3.1-162)
suppressMessages(library(nlme))
d <- read.csv("laps.csv")
d$lap <- ave(d$time, d$run, FUN = seq_along)
d$j <- d$lap - 1
d$age <- d$age + d$j
d$fuel <- d$fuel - 1.8 * d$j
d$c <- (d$front + d$rear) / 20; d$f <- (d$front - d$rear) / 20; d$s <- d$single / 10
fixed <- c("c", "f", "s", "c2", "f2", "s2", "cf")
cols <- function(x) { x$c2 <- x$c^2; x$f2 <- x$f^2; x$s2 <- x$s^2; x$cf <- x$c * x$f; x$e <- x$effort - 100; x }
time <- cols(d[d$skip == 0, ]); time$n <- 1
# worn so far -> readings: a mean over the laps since the last one, skipped laps included
wear <- do.call(rbind, lapply(split(d, d$run), function(r) {
  last <- r$age[1] * 2.0; from <- 1; out <- NULL
  for (k in seq_len(nrow(r))) if (!is.na(r$worn[k])) {
    i <- from:k; m <- r[k, ]
    m$n <- length(i); m$wear <- (r$worn[k] - last) / m$n
    for (v in c("time", "age", "fuel", "effort")) m[[v]] <- mean(r[[v]][i])
    if (r$skip[k] == 0) out <- rbind(out, m)
    last <- r$worn[k]; from <- k + 1
  }
  out }))
wear <- cols(wear)
wear$inv <- 1 / wear$n; time$inv <- 1
ctl <- lmeControl(maxIter = 500, msMaxIter = 500, tolerance = 1e-13, msTol = 1e-14, niterEM = 200)
fit <- function(y, x, data) lme(as.formula(paste(y, "~", paste(c(fixed, x), collapse = "+"))),
  random = ~ 1 | run, data = data, weights = varFixed(~ inv), method = "REML", control = ctl)
out <- function(k, v) cat(sprintf("%s,%.12g\n", k, v))
show <- function(tag, m) {
  b <- fixef(m); V <- vcov(m)
  for (i in seq_along(b)) { out(paste0(tag, ".", names(b)[i]), b[[i]]); out(paste0(tag, ".", names(b)[i], ".se"), sqrt(V[i, i])) }
  out(paste0(tag, ".sigma-run"), sqrt(as.numeric(VarCorr(m)["(Intercept)", "Variance"])))
  out(paste0(tag, ".sigma-lap"), m$sigma)
  out(paste0(tag, ".log-reml"), as.numeric(logLik(m)))
}
row <- function(m, c, f, s) { x <- setNames(numeric(length(fixef(m))), names(fixef(m)))
  x[c("c", "f", "s", "c2", "f2", "s2", "cf")] <- c(c, f, s, c^2, f^2, s^2, c * f); x }
cov4 <- c("e", "age", "fuel")
mt <- fit("time", cov4, time); mw <- fit("wear", cov4, wear)
show("time", mt); show("wear", mw)
# sheet: front 3, rear -2, single 5 against all zero
l <- row(mt, 0.05, 0.25, 0.5)
for (m in list(list("time", mt), list("wear", mw))) {
  out(paste0(m[[1]], ".delta"), sum(l * fixef(m[[2]]))); out(paste0(m[[1]], ".delta-se"), sqrt(drop(t(l) %*% vcov(m[[2]]) %*% l)))
}
# exchange rate from effort: correlation of residuals over laps read singly, run means removed
rt <- data.frame(run = time$run, lap = time$lap, a = time$time - predict(mt, level = 0))
rw <- data.frame(run = wear$run, lap = wear$lap, b = wear$wear - predict(mw, level = 0))[wear$n == 1, ]
p <- merge(rt, rw); p$a <- p$a - ave(p$a, p$run); p$b <- p$b - ave(p$b, p$run)
rho <- sum(p$a * p$b) / sqrt(sum(p$a^2) * sum(p$b^2)); out("rho", rho)
bt <- fixef(mt)[["e"]]; bw <- fixef(mw)[["e"]]; vt <- vcov(mt)["e", "e"]; vw <- vcov(mw)["e", "e"]; vc <- rho * sqrt(vt * vw)
inner <- function(m) nrow(m$data) - length(unique(m$data$run)) - 3
q <- qt(0.975, min(inner(mt), inner(mw))); kappa <- -bw / bt
out("kappa", kappa); out("kappa.se", sqrt(vw + kappa^2 * vt + 2 * kappa * vc) / abs(bt))
# Fieller: all k with |bw + k bt| <= q se(bw + k bt), found by root search
g <- function(k) (bw + k * bt)^2 - q^2 * (vw + 2 * k * vc + k^2 * vt)
out("kappa.low", uniroot(g, c(kappa - 5, kappa), tol = 1e-14)$root); out("kappa.high", uniroot(g, c(kappa, kappa + 5), tol = 1e-14)$root)
# like-for-like
wear$z <- wear$wear + kappa * wear$time
mz <- fit("z", c("age", "fuel"), wear); mzt <- fit("time", c("age", "fuel"), wear)
lz <- row(mz, 0.05, 0.25, 0.5); dz <- sum(lz * fixef(mz)); dt <- sum(lz * fixef(mzt))
sk <- sqrt(vw + kappa^2 * vt + 2 * kappa * vc) / abs(bt)
sz <- sqrt(drop(t(lz) %*% vcov(mz) %*% lz) + dt^2 * sk^2)
dfz <- length(unique(wear$run)) - 8
out("like.delta", dz); out("like.low", dz - qt(0.975, dfz) * sz); out("like.high", dz + qt(0.975, dfz) * sz)
out("like.chance", pt(-dz / sz, dfz))
# within runs: wear on time, run means removed, tyre age and fuel adjusted (they go together, so one of them)
mi <- lm(wear ~ factor(run) + time + age, data = wear, weights = n)
out("within.kappa", -coef(mi)[["time"]]); out("within.se", sqrt(vcov(mi)["time", "time"])); out("within.df", mi$df.residual)
