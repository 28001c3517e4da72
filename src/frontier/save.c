/* What a frontier saves: reading it and telling it. */
#include "frontier/frontier.h"

#include <stdio.h>
#include <string.h>

#define LIKE "like-for-like"

/* The channel that wore most as driven; -1 without any reading. */
static int most_worn(const struct model *m)
{
	int best = -1;
	for (size_t c = 0; c < m->book->n_channels; c++)
		if (m->responses[1 + c].fitted &&
			(best < 0 || m->responses[1 + c].mean > m->responses[1 + best].mean))
			best = (int)c;
	return best;
}

static int limiting(const struct model *m)
{
	const struct sheet *ref = book_reference(m->book);
	int c = ref ? model_limiting_channel(m, ref->values) : -1;
	return c >= 0 ? c : most_worn(m);
}

static bool no_limiting(struct err *err)
{
	return err_failed(
		err, "the book's runs have no wear readings, so there is no wear to save");
}

static bool unknown(const struct model *m, const char *text, struct err *err)
{
	char names[80] = "";
	size_t len = 0;
	for (size_t c = 0; c < m->book->n_channels && len < sizeof names; c++)
		len += (size_t)snprintf(
			names + len, sizeof names - len, "%s, ", m->book->channels[c]);
	return err_input(err,
		"cannot save '%.60s'; %smean, " LIKE " or " LIKE ":CHANNEL are allowed", text,
		names);
}

bool save_parse(const struct model *m, const char *text, struct save_target *out, struct err *err)
{
	*out = (struct save_target){SAVE_CHANNEL, -1, false};
	if (text && strcmp(text, "mean") == 0) {
		out->kind = SAVE_MEAN;
		return true;
	}
	const char *channel = text;
	if (text && strncmp(text, LIKE, strlen(LIKE)) == 0) {
		out->kind = SAVE_LIKE;
		channel = text + strlen(LIKE);
		if (*channel == ':')
			channel++;
		else if (*channel)
			return unknown(m, text, err);
		else
			channel = NULL;
	}
	out->named = channel != NULL;
	out->channel = channel ? book_find_channel(m->book, channel) : limiting(m);
	if (out->channel >= 0)
		return true;
	return channel ? unknown(m, text, err) : no_limiting(err);
}

const char *save_print(const struct model *m, const struct save_target *t, char *buf, size_t size)
{
	if (t->kind == SAVE_MEAN)
		snprintf(buf, size, "mean");
	else if (t->kind == SAVE_CHANNEL)
		snprintf(buf, size, "%s", m->book->channels[t->channel]);
	else if (!t->named)
		snprintf(buf, size, LIKE);
	else
		snprintf(buf, size, LIKE ":%s", m->book->channels[t->channel]);
	return buf;
}
