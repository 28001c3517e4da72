/* Any bytes at all: the YAML reader answers with a tree or with faults, and its marks lie in the
 * file. */
#include "store/doc.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_node(const struct doc *d, const struct node *n)
{
	if (n->start > n->end || n->end > d->size || n->line < 1 || n->col < 1)
		abort();
	for (const struct node *c = n->child; c; c = c->next)
		check_node(d, c);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct doc d;
	struct faults faults;
	faults_init(&faults);
	if (doc_parse(&d, (const char *)data, size, "fuzz", &faults))
		check_node(&d, d.root);
	doc_free(&d);
	faults_free(&faults);
	return 0;
}
