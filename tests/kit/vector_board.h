/* The host board with a clock of 100 ns, for the scripts of the vectors. */
#include "host.h"
#undef BD_TICKS
#define BD_TICKS 10
#define BD_SHORT_RUNS
#undef BD_POOL
#define BD_POOL 6000
