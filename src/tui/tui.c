#include "tui/tui.h"

#include "tui/app.h"
#include "tui/session.h"
#include "tui/term.h"

#include <signal.h>
#include <stdio.h>

/* All keys that came together, then one painting. */
static unsigned take_keys(struct app *app)
{
	unsigned flags = UI_NONE;
	while (!(flags & UI_QUIT) && term_keys_read()) {
		int key = term_key();
		if (key != K_NONE)
			flags |= app_key(app, key);
	}
	return flags;
}

static void run(struct app *app)
{
	unsigned flags = UI_ALL | session_offer_recovery(app);
	while (!(flags & UI_QUIT)) {
		if (flags & UI_REPAINT) {
			scr_forget();
			term_repaint();
		}
		app_paint(app, flags);
		if (!term_update())
			return;
		flags = session_idle(app); /* after painting: a disk may take its time */
		flags |= term_keys_waiting() ? UI_NONE : app_idle(app);
		if (flags && !term_keys_waiting())
			continue;
		unsigned events = term_wait(session_due_ms(app));
		if (events & TERM_END)
			return;
		if (events & TERM_STOP)
			term_suspend();
		if (events & (TERM_RESIZE | TERM_RESUME | TERM_STOP))
			flags |= UI_ALL;
		if (events & TERM_KEYS)
			flags |= take_keys(app);
	}
}

unsigned act_suspend(struct app *app)
{
	if (!term_suspend())
		app_say(app, "no shell to go back to: nothing was paused");
	return UI_ALL;
}

static int tell_faults(const struct faults *f)
{
	char line[1024];
	for (size_t i = 0; i < f->n; i++) {
		err_format(&f->list[i], line, sizeof line);
		fprintf(stderr, "%s\n", line);
	}
	if (f->oom.cls != ERR_NONE) {
		err_format(&f->oom, line, sizeof line);
		fprintf(stderr, "%s\n", line);
	}
	if (f->total > f->n && f->n > 0)
		fprintf(stderr, "treadlight: and %zu more\n", f->total - f->n);
	return err_status(faults_class(f));
}

static int tell(const struct err *err)
{
	char line[1024];
	err_format(err, line, sizeof line);
	fprintf(stderr, "%s\n", line);
	return err_status(err->cls);
}

int tui_run(const char *dir, const char *sheet_id)
{
	struct app app;
	struct faults faults;
	struct err err;
	err_clear(&err);
	faults_init(&faults);
	if (!term_check(&err)) /* before any file is touched */
		return tell(&err);
	if (!app_open(&app, dir, sheet_id, &faults)) {
		int status = tell_faults(&faults);
		faults_free(&faults);
		app_close(&app);
		return status;
	}
	faults_free(&faults);
	if (!term_open(&err)) {
		app_close(&app);
		return tell(&err);
	}
	const bool ready = scr_open() || err_memory(&err);
	if (ready)
		run(&app);
	int sig = term_end_signal();
	app_close(&app); /* the journal first: the terminal may be stuck */
	scr_close();
	term_close();
	if (!ready)
		return tell(&err);
	if (sig) { /* so that the shell sees what ended it */
		signal(sig, SIG_DFL);
		raise(sig);
	}
	return 0;
}
