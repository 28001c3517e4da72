/* Blocks as one HTML page: no script, nothing fetched, light and dark, A4 when printed. */
#include "report/block.h"
#include "report/svg.h"

static const char page_head[] =
	"<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n"
	"<meta name=\"generator\" content=\"treadlight debrief\">\n"
	"<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
	"<meta name=\"color-scheme\" content=\"light dark\">\n<title>";

static const char page_style[] =
	"</title>\n<style>\n"
	":root{--ink:#1c1c1a;--dim:#66655f;--line:#b9b7ad;--paper:#fffefa;--accent:#0b5d7a;"
	"--warn:#8a4b00;--tint:#f1f0ea}\n"
	"@media (prefers-color-scheme:dark){:root{--ink:#e9e7df;--dim:#a3a198;--line:#55534b;"
	"--paper:#191917;--accent:#7cc4de;--warn:#f0b35a;--tint:#262622}}\n"
	"body{font:15px/1.45 system-ui,sans-serif;color:var(--ink);background:var(--paper);"
	"max-width:52rem;margin:1.5rem auto;padding:0 1rem}\n"
	"h1{font-size:1.5rem;margin:0 0 .3rem}\n"
	"h2{font-size:1.1rem;margin:1.8rem 0 .4rem;border-bottom:1px solid var(--line)}\n"
	"p{margin:.4rem 0}\n"
	".answer{font-size:1.15rem;font-weight:600;border-left:.3rem solid var(--accent);"
	"padding:.3rem .8rem;margin:.8rem 0;background:var(--tint)}\n"
	".caution{border:1px solid var(--warn);border-left-width:.3rem;padding:.3rem "
	".8rem;margin:.5rem 0}\n"
	".caution b{color:var(--warn)}\n"
	"table{border-collapse:collapse;margin:.5rem "
	"0;width:100%;font-variant-numeric:tabular-nums}\n"
	"caption{text-align:left;color:var(--dim);padding:.2rem 0}\n"
	"th,td{padding:.15rem .38rem;border-bottom:1px solid var(--line);text-align:left;"
	"vertical-align:baseline}\n"
	"th{color:var(--dim);font-weight:600}\n.r{text-align:right}\n"
	"figure{margin:.8rem 0;break-inside:avoid}\nfigcaption{color:var(--dim);font-size:.9rem}\n"
	"@media "
	"(max-width:44rem){table{display:block;overflow-x:auto}.r{white-space:nowrap}td:first-"
	"child{min-width:8rem}}\n"
	"@media "
	"(min-width:44rem),print{td{white-space:nowrap}td:first-child{white-space:normal}td:last-"
	"child{white-space:normal;min-width:4.6rem}}\n"
	"svg{width:100%;height:auto;display:block}\n"
	"tr,.answer,.caution{break-inside:avoid}\nh2{break-after:avoid}\nul{padding-left:1.2rem;"
	"margin:.3rem 0}\n"
	"@page{size:A4;margin:14mm}\n"
	"@media "
	"print{:root{--ink:#000;--dim:#444;--line:#999;--paper:#fff;--accent:#000;--warn:#000;"
	"--tint:#fff}body{max-width:none;margin:0;padding:0;font-size:10.5pt}}\n"
	"</style></head><body>\n";

static void wrap(struct buf *out, const char *open, const char *text, const char *close)
{
	buf_adds(out, open);
	svg_escape(out, text);
	buf_adds(out, close);
}

static void write_table(const struct block *k, struct buf *out)
{
	const struct table *t = &k->table;
	buf_adds(out, "<table>");
	if (k->text)
		wrap(out, "<caption>", k->text, "</caption>");
	for (size_t r = 0; r < t->rows; r++) {
		const char *tag = r == 0 ? "th" : "td";
		buf_adds(out, r == 0 ? "<thead><tr>" : "<tr>");
		for (size_t c = 0; c < t->columns; c++) {
			buf_addf(out, "<%s%s%s>", tag, r == 0 ? " scope=\"col\"" : "",
				t->right[c] ? " class=\"r\"" : "");
			svg_escape(out, t->cell[r * t->columns + c]);
			buf_addf(out, "</%s>", tag);
		}
		buf_adds(out, r == 0 ? "</tr></thead>\n<tbody>" : "</tr>\n");
	}
	buf_adds(out, t->rows ? "</tbody></table>\n" : "</table>\n");
}

static void write_block(const struct block *k, struct buf *out)
{
	switch (k->kind) {
	case BLOCK_TITLE:
		wrap(out, "<h1>", k->text, "</h1>\n");
		break;
	case BLOCK_HEADING:
		wrap(out, "<h2>", k->text, "</h2>\n");
		break;
	case BLOCK_TEXT:
		wrap(out, "<p>", k->text, "</p>\n");
		break;
	case BLOCK_ANSWER:
		wrap(out, "<p class=\"answer\">", k->text, "</p>\n");
		break;
	case BLOCK_CAUTION:
		wrap(out, "<p class=\"caution\"><b>Caution:</b> ", k->text, "</p>\n");
		break;
	case BLOCK_ITEM:
		wrap(out, "<ul><li>", k->text, "</li></ul>\n");
		break;
	case BLOCK_TABLE:
		write_table(k, out);
		break;
	case BLOCK_FIGURE:
		buf_adds(out, "<figure>");
		buf_adds(out, k->svg);
		wrap(out, "<figcaption>", k->text, "</figcaption></figure>\n");
		break;
	}
}

void blocks_html(const struct blocks *b, const char *title, struct buf *out)
{
	if (b->failed) {
		out->failed = true;
		return;
	}
	buf_adds(out, page_head);
	svg_escape(out, title);
	buf_adds(out, page_style);
	for (size_t i = 0; i < b->n; i++)
		write_block(&b->v[i], out);
	buf_adds(out, "</body></html>\n");
}
