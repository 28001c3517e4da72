# src/store: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/store/arena.c \
	src/store/arena.h \
	src/store/doc.c \
	src/store/doc.h \
	src/store/explain.c \
	src/store/explain.h \
	src/store/file.c \
	src/store/file.h \
	src/store/host.c \
	src/store/host.h \
	src/store/journal.c \
	src/store/journal.h \
	src/store/journal_text.c \
	src/store/journal_text.h \
	src/store/lock.c \
	src/store/lock.h \
	src/store/patch.c \
	src/store/patch.h \
	src/store/patch_ids.c \
	src/store/patch_parts.h \
	src/store/patch_verify.c \
	src/store/quote.c \
	src/store/save.c \
	src/store/save.h \
	src/store/save_meta.c \
	src/store/save_parts.h \
	src/store/save_place.c \
	src/store/save_temp.c \
	src/store/scan.c \
	src/store/scan.h \
	src/store/store.h
