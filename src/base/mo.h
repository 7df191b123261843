/* A catalogue of translations as msgfmt writes it (GNU gettext manual, "The Format of GNU MO
   Files"; of this machine's byte order, as it is made where the program is built). */
#ifndef TR_BASE_MO_H
#define TR_BASE_MO_H

#include <stdint.h>

#include "base/error.h"

typedef struct {
    uint8_t *data; /* owned */
    size_t size;
    uint32_t n, keys, texts; /* how many messages; where their tables of lengths and places begin */
} tr_mo;

/* False, and nothing is owned: the file is not there, is no catalogue, or memory ran out. */
TR_MUST_USE bool tr_mo_read(const char *path, tr_mo *mo);

/* The translation, borrowed from mo; NULL: there is none. */
const char *tr_mo_find(const tr_mo *mo, const char *english);

/* Of a text that was printed by one of the catalogue's printf formats, the translation of that
   format with the same values. Where several fit, the one with the most words of its own. Values
   that are such texts themselves are translated as well. False: none fits, and out is without use.
 */
TR_MUST_USE bool tr_mo_reprint(const tr_mo *mo, const char *printed, char *out, size_t size);

#endif
