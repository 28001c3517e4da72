# src/balance: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/balance/balance.c \
	src/balance/balance.h \
	src/balance/balance_text.c \
	src/balance/balance_text.h \
	src/balance/hold.c \
	src/balance/hold.h
