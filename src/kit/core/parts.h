/* What the files of the core offer each other. */
#ifndef BW_PARTS_H
#define BW_PARTS_H

#include "bw.h"
#include "bw_crc.h"

/* line.c: frames in, the queue, and the fields of the request that is looked at. */
void line_poll(bw_core *c); /* takes the bytes that are there now */
void line_open_entry(bw_core *c); /* looks at the first request of the queue */
void line_drop_entry(bw_core *c); /* it is done with */
void line_drop_waiting(bw_core *c);
/* Every waiting request that `kinds` names (bit n: kind n) will be refused with this code. */
void line_refuse_waiting(bw_core *c, uint16_t kinds, uint8_t code);
void line_enqueue(bw_core *c, uint8_t code); /* the frame that came waits */
void line_refuse_rail_on(bw_core *c, uint8_t code);
uint8_t line_refusal(const bw_core *c); /* of the entry that is looked at; 0: none */
uint16_t line_index(uint16_t at, uint16_t on);
uint16_t line_straight(const bw_core *c);
void line_taken(bw_core *c, uint8_t taken, uint8_t made);
uint8_t line_u8(const bw_core *c, uint16_t at); /* a byte of the body */
uint32_t line_u32(const bw_core *c, uint16_t at);
uint32_t ring_u32(const bw_core *c, uint16_t at); /* at this index of the ring */
uint32_t line_sum(const bw_core *c, uint16_t from, uint16_t to);
/* Fields one after another; what is missing or wrong stands in bad_at, the first of them. */
uint8_t take8(bw_core *c);
uint16_t take16(bw_core *c);
uint32_t take32(bw_core *c);
bool take_flag(bw_core *c);
uint8_t take_below(bw_core *c, uint8_t limit);
void take_bad(bw_core *c, uint16_t at);
bool take_end(bw_core *c); /* nothing is left, and nothing was wrong */

/* fields.c: rows of fields, in program memory. A field is a byte below a limit, or of this kind;
 * a width is 1, 2 or 4. */
enum { FIELD_FLAG = 2, FIELD_8 = 252, FIELD_WIDTH, FIELD_16, FIELD_32 };
typedef struct {
    uint8_t kind;
    uint8_t at; /* in the struct, or from its base */
} bw_field;
#define ROW_BYTES 32 /* of one that is sent, at most */
#define ROW_OF(row) row, sizeof(row) / sizeof *(row)
void take_row(bw_core *c, void *to, const bw_field *row, uint8_t count);
uint8_t take_all(bw_core *c, void *to, const bw_field *row, uint8_t count); /* and that is all */
void send_row(bw_core *c, const void *from, const bw_field *row, uint8_t count);
void send_rom(bw_core *c, const void *from, uint8_t count);

/* send.c: frames out. */
void send_pump(bw_core *c);
void send_begin(bw_core *c, uint8_t kind, uint8_t tag);
/* A reply that begins with these bytes, behind two places for kind and tag. */
void send_reply(bw_core *c, uint8_t *frame, uint8_t count);
void send8(bw_core *c, uint8_t value);
void send16(bw_core *c, uint16_t value);
void send32(bw_core *c, uint32_t value);
void send_bytes(bw_core *c, const uint8_t *at, uint8_t count);
void send_end(bw_core *c);
void send_break(bw_core *c); /* a frame that must not become whole */
void send_forget(bw_core *c); /* answers that have not begun to leave are dropped */
void send_drain(bw_core *c); /* until the last stop bit has left */

/* answer.c: what comes in, and what is answered at once. */
void answer_frame(bw_core *c); /* a good frame stands at `body` */
void answer_owed(bw_core *c);
void answer_fault(bw_core *c, const bw_fault *f);
uint32_t answer_id(bw_core *c); /* nonce or run id of the request that is looked at */

/* hello.c */
void hello_opens(bw_core *c, uint32_t session); /* a new session */
void hello_forgets(bw_core *c);
bd_lines_t hello_strobes(void); /* control lines that the board names write strobes */
bool hello_lists(uint32_t rate);
void hello_answer(bw_core *c, uint8_t tag, uint32_t session);
void ping_answer(bw_core *c, uint8_t tag);

/* work.c: the request at work, and the pauses in which everything else is done. */
bool breathe(bw_core *c); /* false: the work must end; `cause` says why */
/* The same at little cost, between two words: what came is taken, what is due goes out, and now and
 * then the rest is done. */
bool breathe_short(bw_core *c);
bool work_watch(bw_core *c); /* rail and dead-man alone; false: no host is there */
void count_on(uint32_t *at, uint16_t more); /* no more than fits */
void work_whole(bw_core *c, uint32_t whole);
uint8_t work_fault(const bw_core *c); /* the fault for a work that was ended */
uint32_t work_bound_ms(bw_core *c);
void work_halt(bw_core *c, uint8_t cause);
void work_rate(bw_core *c, uint32_t rate); /* the line's, when all has been sent */
uint32_t ms_since(bw_core *c, uint32_t since); /* cut */
bool ms_past(bw_core *c, const uint32_t *since, uint16_t ms);
uint32_t ms_ticks(uint32_t ms);
uint32_t ms_ahead(bw_core *c, uint32_t ms); /* the clock then */
uint32_t us_ticks(uint32_t us);

/* serve.c: requests in their turn. Each returns a fault code, or 0 when it has answered. */
void serve(bw_core *c);
uint8_t serve_rate(bw_core *c);
uint8_t serve_rail(bw_core *c);
uint8_t serve_permit(bw_core *c);
uint8_t serve_shape(bw_core *c);
uint8_t serve_lines(bw_core *c);
uint8_t serve_walk(bw_core *c);
uint8_t serve_read(bw_core *c);
uint8_t serve_digest(bw_core *c);
uint8_t serve_hold(bw_core *c);
uint8_t serve_repeat(bw_core *c);
uint8_t serve_script(bw_core *c);
uint8_t serve_run(bw_core *c);
uint8_t fault_of(bw_core *c, uint8_t code, uint32_t detail);
void reply_begin(bw_core *c); /* kind and tag of the request at work */
void reply_body(bw_core *c, const uint8_t *bytes, uint8_t count);
/* With the request's bytes after kind and tag, 24 at most. */
void reply_echo(bw_core *c, uint8_t count);

/* rail.c */
void rail_poll(bw_core *c);
bool rail_holds(bw_core *c);
void rail_open(bw_core *c, uint8_t state);
bool rail_closed(const bw_core *c); /* the switch */
uint8_t rail_refusal(bw_core *c); /* of a request that needs the rail; 0: it is on */
uint16_t rail_mv(bw_core *c);

/* shape.c */
bw_shape *shape_at(bw_core *c, uint8_t slot);  /* of a slot that there is */
bw_shape *shape_get(bw_core *c, uint8_t slot); /* NULL: none there */
uint8_t shape_count(bw_core *c);
bool shape_reads_write(bw_core *c, bw_levels idle);
void shape_hold(bw_core *c); /* the idle levels of all shapes are held from now on */
void shape_images(bw_core *c);
uint32_t ones_of(uint8_t width); /* all lines of a word of so many bytes */
uint32_t word_ones(const bw_shape *s);
uint32_t word_up(const bw_shape *s, uint32_t word); /* to its data lines */
uint32_t word_lines(const bw_shape *s); /* the data lines of a word */
uint8_t lowest_bit(uint16_t mask); /* of a mask that is not 0 */
bw_levels levels_then(bw_levels under, bw_levels over);
bw_levels levels_held(const bw_core *c); /* with what scripts have moved */
bw_levels levels_strobed(bw_levels idle, const bw_shape *s, uint8_t setup);
bool levels_strobe(bw_levels idle, bw_levels strobe, bw_levels shown);

/* cycle.c */
void bus_free(bw_core *c); /* neither data nor address lines are driven */
void cycle_ready(bw_core *c); /* the bus is made ready for cycles */
uint32_t cycle_read(bw_core *c, const bw_shape *s, uint32_t address);
uint32_t cycle_read_charged(bw_core *c, const bw_shape *s, uint32_t address, uint32_t charge);
void cycle_write(bw_core *c, const bw_shape *s, uint32_t address, uint32_t value);
void cycle_strobe(bw_core *c, const bw_shape *s, uint32_t address, bool write, uint32_t value,
                  bool mark);
void cycle_end_strobe(bw_core *c, const bw_shape *s, bool write);
uint8_t span_check(bw_core *c, uint32_t address, int16_t step, uint32_t count);
uint8_t reach_check(bw_core *c, uint32_t address); /* the same for one address */

/* lines.c, hold.c */
void lines_release(bw_core *c);
void lines_again(bw_core *c); /* control lines that LINES drives, after all were driven anew */
bool lines_may_move(bw_core *c, bw_levels moved); /* may a script bring a line to this level? */
void hold_release(bw_core *c);
void bus_release(bw_core *c); /* both */

/* permit.c */
const bw_permit *permit_of(bw_core *c, uint8_t slot); /* that holds now; NULL: none */
bool permit_lists(const bw_permit *p, uint32_t address); /* among its single addresses */
bool permit_covers(bw_core *c, uint8_t slot, uint32_t address, uint32_t lanes);
/* The window has all words from `first` to `last`, and writes go to all lines. */
bool permit_window(bw_core *c, uint8_t slot, uint32_t first, uint32_t last);
bool permit_lives(bw_core *c, uint8_t slot);
bool permit_lines(bw_core *c, uint8_t slot); /* 255: of any shape */
uint16_t permit_keep(bw_core *c); /* a run begins: it keeps what holds now, a bit for each slot */
void permit_poll(bw_core *c);
uint16_t permit_seconds(bw_core *c);

/* chain.c */
void chain_place(bw_core *c, bw_place *place); /* takes session, chain, run and after */
/* May it begin? F_ANSWERED if it has before: then it gets the same answer. */
uint8_t chain_judge(bw_core *c, const bw_place *place);
bw_kept *chain_begin(bw_core *c, const bw_place *place);
void chain_end(bw_core *c, bw_kept *kept, uint8_t status);
void chain_halt(bw_core *c);
void chain_reset(bw_core *c);
bool chain_same_at_work(bw_core *c); /* the frame that came is the run at work */
uint32_t chain_sum(bw_core *c); /* what tells one request from another */
void chain_answer(bw_core *c, const bw_kept *kept);

#endif
