#include "tui/saving.h"

#include "store/lock.h"
#include "store/path.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *app_doubt(const struct err *err)
{
	static const char is_written[] = "is written";
	const char *text = err->text;
	if (strncmp(text, is_written, sizeof is_written - 1) == 0) {
		text += sizeof is_written - 1;
		text += strspn(text, ",; ");
	}
	return text;
}

unsigned app_saved(struct app *app, const struct err *err, const char *fmt, ...)
{
	char said[512];
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(said, sizeof said, fmt, ap);
	va_end(ap);
	return err->cls == ERR_NONE ? app_say(app, "%s", said)
				    : app_warn(app, "saved, but %s; %s", app_doubt(err), said);
}

/* The store's texts are what a file is, was or may be, or sentences of their own. */
static bool is_of_file(const char *text)
{
	static const char *const verbs[] = {"is ", "was ", "may ", "cannot "};
	for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++)
		if (strncmp(text, verbs[i], strlen(verbs[i])) == 0)
			return true;
	return false;
}

unsigned app_not_saved(struct app *app, const char *what, const struct err *err)
{
	return is_of_file(err->text) ? app_warn(app, "%s %s", what, err->text)
				     : app_warn(app, "not saved: %s", err->text);
}

/* --- somebody else has it ------------------------------------------------------------ */

struct held {
	char *path; /* owned */
	struct lock_owner owner;
	again_fn again;
	typed_fn typed; /* of the field that was being answered; NULL: there was none */
	char title[256];
	char *text; /* owned: what was typed there */
};

static void drop(struct held *h)
{
	if (!h)
		return;
	free(h->path);
	free(h->text);
	free(h);
}

void held_free(struct app *app)
{
	drop(app->held);
	app->held = NULL;
}

static unsigned reopen(struct app *app, const struct held *h)
{
	return h->typed ? field_open(app, h->typed, h->text, "%s", h->title) : UI_ALL;
}

static unsigned do_again(struct app *app, const struct held *h)
{
	app->keep_field = false;
	unsigned flags = h->again ? h->again(app) : h->typed(app, h->text);
	if (app->keep_field && app->modal.kind == MODAL_NONE)
		flags |= reopen(app, h);
	return flags | UI_ALL;
}

static unsigned held_answered(struct app *app, int choice)
{
	struct held *h = app->held;
	struct lock lock;
	struct err err;
	char who[256];
	unsigned flags;
	app->held = NULL;
	lock_init(&lock);
	if (choice == 0) {
		flags = reopen(app, h) | app_say(app, "nothing was changed");
	} else if (lock_take_over(&lock, h->path, &h->owner, &err) == LOCK_HELD) {
		lock_describe(&h->owner, who, sizeof who);
		flags = reopen(app, h) |
			app_warn(app, "by now %s has it; nothing was changed", who);
	} else { /* where no lock can be made the content is compared all the same */
		flags = do_again(app, h);
		lock_release(&lock);
	}
	drop(h);
	return flags;
}

static struct held *held_new(const struct app *app, const char *folder, const char *id)
{
	const struct modal *m = &app->modal;
	struct held *h = calloc(1, sizeof *h);
	if (!h)
		return NULL;
	h->path = path_join(app->book.dir, folder, id, ".yaml");
	if (m->answering) {
		h->typed = m->typed;
		memcpy(h->title, m->title, sizeof h->title);
		h->text = text_dup(m->text.data ? m->text.data : "", m->text.len);
	}
	if (h->path && (h->text || !h->typed))
		return h;
	drop(h);
	return NULL;
}

bool held_ask(struct app *app, const struct err *err, const char *folder, const char *id,
	again_fn again, unsigned *flags)
{
	static const struct choice choices[] = {{'n', "leave it to them; nothing is changed"},
		{'y', "change it all the same; the file is compared again before it is saved"}};
	char who[256];
	if (!err->held)
		return false;
	held_free(app);
	struct held *h = held_new(app, folder, id);
	app->held = h;
	if (!h || !lock_owner(h->path, &h->owner)) {
		held_free(app);
		field_keep(app);
		*flags = h ? app_warn(app, "%s.yaml was let go of just now: try again", id)
			   : app_warn(app, "out of memory: nothing was changed");
		return true;
	}
	h->again = again;
	lock_describe(&h->owner, who, sizeof who);
	*flags = question_open(app, held_answered, choices, 2,
		"Two programs with changes to one file: whoever saves second is told.",
		"%s is being edited by %s", id, who);
	return true;
}
