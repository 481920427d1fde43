/* The host board with the lines and sizes of the simulated adapter, to be compared with it. */
#include "host.h"
#undef BD_CONTROL_LINES
#undef BD_CONTROL
#undef BD_RESET_LINE
#undef BD_PROTECT_LINE
#undef BD_HAS_MARK
#undef BD_QUEUE
#undef BD_RX_BODY
#undef BD_EMIT
#undef BD_POOL
#undef BD_ROWS
#undef BD_SCRATCH
#define BD_CONTROL_LINES 4
#define BD_CONTROL {{0, "OE"}, {1, "WE"}, {0, "CS0"}, {0, "CS1"}}
#define BD_RESET_LINE {255, 0}
#define BD_PROTECT_LINE {255, 0}
#define BD_HAS_MARK 0
#define BD_QUEUE 2400
#define BD_RX_BODY 1100
#define BD_EMIT 254
#define BD_POOL 1784
#define BD_ROWS 95
#define BD_SCRATCH 1050
