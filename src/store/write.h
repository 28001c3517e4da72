/*
 * Text of new files. Own small emitter: block mappings, laps one a line, and every text
 * quoted that YAML 1.1 or 1.2 would take for something else. A failed allocation shows in
 * the buffer.
 */
#ifndef STORE_WRITE_H
#define STORE_WRITE_H

#include "book/book.h"

void write_sheet(struct buf *out, const struct car *car, const struct sheet *s);
void write_run(struct buf *out, const struct book *b, const struct run *r);
/* The laps' lines alone, each "  - {...}\n". */
void write_laps(struct buf *out, const struct book *b, const struct run *r);
void write_lap(struct buf *out, const struct book *b, const struct lap *lap);
/* {front: 1, rear: 2} of the channels that have a value. */
void write_channels(struct buf *out, const struct book *b, const bool *has, const double *v);
bool write_has_any(const struct book *b, const bool *has);
void write_book(struct buf *out, const struct book *b);
void write_number(struct buf *out, double v);
/* 1:31.243 for seconds that this says exactly; else false. */
bool write_as_laptime(double seconds, char *text, size_t size);
/* Seconds as "1:31.243" where thousandths hold it, else as plain seconds. */
void write_laptime(struct buf *out, double seconds);

#endif
