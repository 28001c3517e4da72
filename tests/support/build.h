/* Small cars made in memory for the suites of the core. */
#ifndef TREADLIGHT_TESTS_BUILD_H
#define TREADLIGHT_TESTS_BUILD_H

#include "book/car.h"

/*
 * 0 front-wing 4..16 by 0.5 deg, caution 5..14; 1 rear-wing 6..22 by 0.5 (pair wing)
 * 2 front-camber -4..-2 by 0.1 deg; 3 rear-camber -3..-1 by 0.1 (pair camber)
 * 4 bias 50..60 by 0.5 %, no pair
 * 5 front-bar 0..100 by 10 N/mm; 6 rear-bar 0..75 by 15 (pair bar): common step 30
 */
void build_car(struct car *c);

#endif
