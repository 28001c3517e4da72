# src/model: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/model/borrow.c \
	src/model/borrow.h \
	src/model/check.c \
	src/model/effects.c \
	src/model/effects.h \
	src/model/exchange.c \
	src/model/internal.h \
	src/model/meta.c \
	src/model/meta.h \
	src/model/model.c \
	src/model/model.h \
	src/model/observe.c \
	src/model/overlay.c \
	src/model/overlay.h \
	src/model/overlay_text.c \
	src/model/posterior.c \
	src/model/predict.c \
	src/model/prior.c \
	src/model/qr.c \
	src/model/qr.h \
	src/model/reml.c \
	src/model/reml.h \
	src/model/response.c \
	src/model/segments.c \
	src/model/segments.h \
	src/model/terms.c \
	src/model/verdict.c \
	src/model/verdict.h \
	src/model/verify.c \
	src/model/verify.h \
	src/model/verify_drift.c \
	src/model/verify_tally.c \
	src/model/words.c \
	src/model/words.h
