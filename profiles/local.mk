# Cars and circuits that come along; one file a line, sorted.
profile_carsdir = $(pkgdatadir)/profiles/cars
dist_profile_cars_DATA = \
	profiles/cars/larkspur-20.yaml \
	profiles/cars/smewlet-5.yaml \
	profiles/cars/thessaby-13.yaml
profile_circuitsdir = $(pkgdatadir)/profiles/circuits
dist_profile_circuits_DATA = \
	profiles/circuits/harrow-fen.yaml \
	profiles/circuits/ousel-quarry.yaml
