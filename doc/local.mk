# Manual page, references, licence; one file a line, sorted.
dist_doc_DATA = \
	README.md \
	doc/COPYING \
	doc/demo-book.md \
	doc/formats.md \
	doc/frontier.md \
	doc/model.md \
	doc/plans.md \
	doc/stint.md
