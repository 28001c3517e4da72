#include "book/circuit.h"

#include <stdlib.h>
#include <string.h>

const char *const segment_class_names[SEG_CLASSES] = {
	"straight", "braking", "slow", "medium", "fast", "traction"};

void circuit_init(struct circuit *c)
{
	memset(c, 0, sizeof *c);
}

void circuit_free(struct circuit *c)
{
	free(c->name);
	free(c->segments);
	circuit_init(c);
}
