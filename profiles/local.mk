# Cars and circuits that come along; one file a line, sorted.
profile_carsdir = $(pkgdatadir)/profiles/cars
dist_profile_cars_DATA =
profile_circuitsdir = $(pkgdatadir)/profiles/circuits
dist_profile_circuits_DATA =
