#include "base/patience.h"

bool patience_ended(const struct patience *p)
{
	return p && (p->stopped || (p->most > 0 && p->spent > p->most));
}

bool patience_ask(struct patience *p)
{
	if (!patience_ended(p) && p->go_on)
		p->stopped = !p->go_on(p->data);
	if (patience_ended(p))
		return false;
	p->ask_at = p->spent + PATIENCE_ASK;
	return true;
}

bool patience_end(const struct patience *p, const char *work, struct err *err)
{
	if (patience_ended(p))
		return err_failed(err, "stopped before %s was whole", work);
	return err_memory(err);
}
