/* What the module trammel-heif.so (heif_module.c; base/module.h) gives to the program (heif.c):
   the decoders of HEVC (libde265) and AV1 (dav1d), which need not be loaded for other photos. Only
   plain types pass; the module needs nothing of the program. */
#ifndef TR_IMAGE_HEIF_MODULE_H
#define TR_IMAGE_HEIF_MODULE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum {
    TR_HEIF_OK,
    TR_HEIF_NO_MEMORY,
    TR_HEIF_DAMAGED,     /* text says how */
    TR_HEIF_UNSUPPORTED, /* text says what */
    TR_HEIF_NO_ROOM,     /* the caller's place_for said no */
} tr_heif_outcome;

/* Where the upper left part of a picture goes. */
typedef struct {
    uint8_t *to;
    ptrdiff_t stride;
    int width, height; /* of the part: at most the picture's */
} tr_heif_place;

/* One coded picture. */
typedef struct {
    bool is_av1;                  /* else HEVC */
    const uint8_t *config, *data; /* content of the box hvcC or av1C; the item's bytes */
    size_t config_size, size;
    /* What the file says of the samples; where it does not (has_range false), the picture does. */
    bool has_range, is_full_range;
    int matrix; /* matrix coefficients of ITU-T H.273 */
    /* Asked once the picture's size is known: what the file says of it need not be true. */
    bool (*place_for)(void *context, int width, int height, tr_heif_place *place);
    void *context;
} tr_heif_picture;

/* tr_heif_module_decode: decodes to grey, 0 black and 255 white. */
typedef tr_heif_outcome tr_heif_decode_function(const tr_heif_picture *picture, char *text,
                                                size_t text_size);

#endif
