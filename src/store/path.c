#include "store/path.h"

#include "base/text.h"
#include <string.h>

char *path_join(const char *dir, const char *folder, const char *name, const char *suffix)
{
	struct buf b;
	size_t len = strlen(dir);
	buf_init(&b);
	while (len > 0 && dir[len - 1] == '/')
		len--;
	buf_add(&b, dir, len);
	buf_addf(&b, "/%s%s%s%s", folder, *folder && *name ? "/" : "", name, suffix);
	return buf_take(&b);
}
