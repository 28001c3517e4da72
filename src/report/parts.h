/* What the files of the report share: the chapters, and how figures are written in them. */
#ifndef REPORT_PARTS_H
#define REPORT_PARTS_H

#include "frontier/frontier.h"
#include "report/block.h"
#include "report/report.h"
#include "stint/stint.h"

struct report_work {
	const struct report_input *in;
	struct blocks *out;
	const char *sheet_name, *reference_name;
	bool same;           /* the reference is reported by itself */
	struct stint *stint; /* NULL where there is none; why in stint_why */
	char stint_why[512];
	struct frontier *frontier; /* likewise */
	char frontier_why[512];
};

/* Chapters, in the order of the page. */
void chapter_answer(struct report_work *w);
void chapter_tradeoff(struct report_work *w);
void chapter_sheets(struct report_work *w);
void chapter_stint(struct report_work *w);
bool chapter_effects(struct report_work *w, struct err *err);
void chapter_borrowed(struct report_work *w);
void chapter_noise(struct report_work *w);
void chapter_untested(struct report_work *w);
bool chapter_track(struct report_work *w, struct err *err);
void chapter_plan(struct report_work *w);
void chapter_cautions(struct report_work *w);

/* Drawings; false and nothing drawn where there is too little to show. */
bool chart_tradeoff(const struct report_work *w, struct buf *svg);
bool chart_stint_time(const struct report_work *w, struct buf *svg);
bool chart_stint_wear(const struct report_work *w, struct buf *svg);

enum { CELL = 160 };
/* "+0.18", as many decimals as the interval supports; "" where there is no figure. */
const char *cell_delta(const struct estimate *e, char *buf);
/* "0.11 to 0.25"; in words where there is no interval or no figure. */
const char *cell_interval(const struct estimate *e, char *buf);
/* "can't tell, 62 % borrowed": a verdict, and where the figure comes from if not from here. */
const char *cell_verdict(const char *verdict, const struct estimate *e, char *buf);
/* A response's value: lap time as M:SS.mmm, wear with two decimals. */
const char *cell_value(size_t response, const struct estimate *e, char *buf);

#endif
