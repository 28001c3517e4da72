/* The circuit: length and, where given, its segments with shares of time and wear. */
#ifndef BOOK_CIRCUIT_H
#define BOOK_CIRCUIT_H

#include "base/text.h"

enum segment_class {
	SEG_STRAIGHT,
	SEG_BRAKING,
	SEG_SLOW,
	SEG_MEDIUM,
	SEG_FAST,
	SEG_TRACTION,
	SEG_CLASSES
};
extern const char *const segment_class_names[SEG_CLASSES];

struct segment {
	char id[ID_SIZE];
	enum segment_class cls;
	double length;     /* m */
	double time_share; /* of the lap; both add up to 1 within 0.005 */
	double wear_share;
};

struct circuit {
	char id[ID_SIZE];
	char *name;    /* owned; NULL if none */
	double length; /* km */
	size_t n_segments;
	struct segment *segments; /* owned */
};

void circuit_init(struct circuit *c);
void circuit_free(struct circuit *c);

#endif
