/* The plan as a JSON document. */
#include "cmd/plan.h"

#include <math.h>

/* Adds and gives up ownership; false when either is missing. */
static bool put(json_t *object, const char *key, json_t *value)
{
	return json_object_set_new(object, key, value) == 0;
}

static json_t *values_json(const struct car *c, const fix *values)
{
	json_t *o = json_object();
	for (size_t a = 0; o && a < c->n_adjustables; a++)
		if (!put(o, c->adjustables[a].id, cmd_json_number(fix_to_double(values[a])))) {
			json_decref(o);
			return NULL;
		}
	return o;
}

static json_t *run_json(const struct plan *p, const struct car *c, size_t i)
{
	const struct plan_run *r = &p->runs[i];
	json_t *o = json_object();
	bool ok = o && put(o, "order", json_integer((json_int_t)i + 1)) &&
		  put(o, "role", json_string(r->baseline ? "baseline" : "test")) &&
		  put(o, "values", values_json(c, r->values)) &&
		  put(o, "changes", json_integer((json_int_t)r->changes)) &&
		  put(o, "minutes", cmd_json_number(r->minutes));
	if (ok && r->done[0])
		ok = put(o, "done", json_string(r->done));
	if (ok)
		return o;
	json_decref(o);
	return NULL;
}

static json_t *runs_json(const struct plan *p, const struct car *c)
{
	json_t *list = json_array();
	for (size_t i = 0; list && i < p->n_runs; i++)
		if (json_array_append_new(list, run_json(p, c, i)) != 0) {
			json_decref(list);
			return NULL;
		}
	return list;
}

static json_t *detect_json(const struct plan *p, const struct book *b)
{
	json_t *list = json_array();
	for (size_t i = 0; list && i < p->n_detect; i++) {
		const struct plan_detect *d = &p->detect[i];
		char id[32];
		json_t *o = json_object();
		bool ok = o && put(o, "term", json_string(d->term)) &&
			  put(o, "response",
				  json_string(book_response_id(b, d->response, id, sizeof id))) &&
			  put(o, "effect", d->known ? cmd_json_number(d->effect) : json_null());
		if (!ok) {
			json_decref(o);
			json_decref(list);
			return NULL;
		}
		if (json_array_append_new(list, o) != 0) {
			json_decref(list);
			return NULL;
		}
	}
	return list;
}

static json_t *notes_json(const struct plan *p)
{
	json_t *list = json_array();
	for (size_t i = 0; list && i < p->n_notes; i++)
		if (json_array_append_new(list, cmd_json_text(p->notes[i])) != 0) {
			json_decref(list);
			return NULL;
		}
	return list;
}

json_t *cmd_plan_json(const struct plan *p, const struct book *b)
{
	json_t *o = json_object();
	bool ok = o && put(o, "kind", json_string(plan_kind_names[p->kind])) &&
		  put(o, "base", json_string(p->base)) && put(o, "runs", runs_json(p, &b->car)) &&
		  put(o, "laps", json_integer((json_int_t)p->laps)) &&
		  put(o, "minutes", cmd_json_number(p->minutes)) &&
		  put(o, "detectable", detect_json(p, b)) && put(o, "notes", notes_json(p));
	if (ok)
		return o;
	json_decref(o);
	return NULL;
}
