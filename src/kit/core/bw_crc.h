/* CRC-32/ISO-HDLC. The state goes by value, so that it stays in registers. */
#ifndef BW_CRC_H
#define BW_CRC_H

#include "board.h"

#define CRC_START 0xFFFFFFFFu
/* What the state is after a body and its own checksum. */
#define CRC_RESIDUE 0xDEBB20E3u

uint32_t crc_byte(uint32_t state, uint8_t byte);
uint32_t crc_bytes(uint32_t state, const uint8_t *from, uint16_t count);
/* Of two states, as polynomials. */
uint32_t crc_product(uint32_t a, uint32_t b);
/* What becomes of a difference of two states while so many bytes, equal ones, are taken. */
uint32_t crc_shift(uint32_t state, uint16_t bytes);

static inline uint32_t crc_done(uint32_t state) {
    return ~state;
}

#endif
