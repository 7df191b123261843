/* Bar codes and QR codes in photos: what they say, which names a vehicle or a sheet. Read are Code
   39 and Code 128 (as VINs are printed, ISO/IEC 16388 and 15417) and QR codes (ISO/IEC 18004), in
   any position, and linear ones turned by any angle. */
#ifndef TR_CODES_CODES_H
#define TR_CODES_CODES_H

#include "base/error.h"
#include "image/image.h"

/* text: what was read, which may be of any bytes and any length; show it by tr_text_show alone. It
   ends with a 0 that does not count. */
typedef struct {
    char symbology[12]; /* "code-39", "code-128", "qr-code" */
    char *text;         /* owned */
    size_t size;
} tr_barcode;

/* All zero is a valid empty one. In the order of their texts' bytes, so that the same picture gives
   the same list. */
typedef struct {
    tr_barcode *items;
    int n;
} tr_codes;

/* No photo shows more of its own. */
enum { TR_MAX_CODES = 64 };

/* At full size, at a half and a quarter of it and, where that gives nothing, turned. That there is
   none is no failure. False: ZBar is not there, or memory ran out; *out is empty. */
TR_MUST_USE bool tr_codes_read(const tr_image *image, tr_codes *out, tr_error *err);
void tr_codes_release(tr_codes *codes);

#endif
