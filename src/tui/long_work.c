#include "tui/long_work.h"

#include "tui/signals.h"
#include "tui/term.h"

/* The next word on the message line. False: the terminal is gone. */
static bool tell(struct long_work *w)
{
	const unsigned percent = (unsigned)(w->patience.spent * 100 / LONG_WORK_MOST);
	w->tell_at = w->patience.spent + LONG_WORK_TOLD;
	if (w->app->message[0] && !w->told)
		return true;
	w->told = true;
	app_paint(w->app, app_say(w->app, "%s: %u %% of the most that it may take; %s", w->what,
				  percent, w->keys));
	return term_update();
}

static bool go_on(void *data)
{
	struct long_work *w = data;
	if (term_keys_waiting() || signals_pending() || signals_end())
		return false;
	return w->patience.spent < w->tell_at || tell(w);
}

void long_work_begin(struct long_work *w, struct app *app, const char *what, const char *keys)
{
	*w = (struct long_work){.app = app, .what = what, .keys = keys, .tell_at = LONG_WORK_TOLD};
	w->patience = (struct patience){.go_on = go_on, .data = w, .most = LONG_WORK_MOST};
}

unsigned long_work_end(struct long_work *w)
{
	return w->told ? app_say(w->app, "%s", "") : UI_NONE;
}
