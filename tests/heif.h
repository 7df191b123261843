/* HEIC and AVIF files to test with: encoded by libheif, and grids as phones store them, composed
   byte by byte of encoded tiles. Sources: ISO/IEC 14496-12, ISO/IEC 23008-12 (6.5, 6.6.2.3). */
#ifndef TR_TESTS_HEIF_H
#define TR_TESTS_HEIF_H

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <libheif/heif.h>

#include "check.h"

typedef struct {
    uint8_t *bytes; /* owned */
    size_t size;
} heif_bytes;

typedef struct {
    enum heif_compression_format codec;
    enum heif_chroma chroma; /* monochrome, 4:2:0 or 4:4:4 */
    int bits;
    bool is_video_range;
    int matrix;      /* of H.273; 0: green, blue, red */
    int orientation; /* 2..8: by irot and imir; 0: neither */
    const uint8_t *exif;
    size_t exif_size;
} heif_look;

/* ---- bytes ---- */

static inline void heif_add(heif_bytes *b, const void *data, size_t n) {
    b->bytes = realloc(b->bytes, b->size + n + 1);
    assert_non_null(b->bytes);
    memcpy(b->bytes + b->size, data, n);
    b->size += n;
}

static inline void heif_put(heif_bytes *b, uint64_t x, int n) {
    for (int i = n - 1; i >= 0; i--) {
        uint8_t byte = (uint8_t)(x >> (8 * i));
        heif_add(b, &byte, 1);
    }
}

/* A box to be closed: its length is filled in then. Returns where it begins. */
static inline size_t heif_open_box(heif_bytes *b, const char *type) {
    size_t at = b->size;
    heif_put(b, 0, 4);
    heif_add(b, type, 4);
    return at;
}

static inline void heif_close_box(heif_bytes *b, size_t at) {
    for (int i = 0; i < 4; i++)
        b->bytes[at + (size_t)i] = (uint8_t)((b->size - at) >> (24 - 8 * i));
}

static inline uint64_t heif_get(const uint8_t *p, int n) {
    uint64_t x = 0;
    for (int i = 0; i < n; i++) x = x << 8 | p[i];
    return x;
}

/* Where the first box of a type begins within from .. end; fails where there is none. */
static inline size_t heif_find(const heif_bytes *b, size_t from, size_t end, const char *type) {
    for (size_t at = from; at + 8 <= end; at += heif_get(b->bytes + at, 4)) {
        if (memcmp(b->bytes + at + 4, type, 4) == 0) return at;
    }
    fail_msg("no box %s", type);
    return 0;
}

/* The same down a path, as "meta/iprp/ipco"; *end: where that box ends. */
static inline size_t heif_find_path(const heif_bytes *b, const char *path, size_t *end) {
    size_t from = 0;
    size_t at = 0;
    *end = b->size;
    for (const char *name = path; *name; name += name[4] ? 5 : 4) {
        char type[5] = {0};
        memcpy(type, name, 4);
        at = heif_find(b, from, *end, type);
        *end = at + heif_get(b->bytes + at, 4);
        from = at + 8 + (strcmp(type, "meta") == 0 ? 4 : 0);
    }
    return at;
}

/* ---- by libheif ---- */

static inline void heif_ok(struct heif_error error) {
    if (error.code != heif_error_Ok) fail_msg("%s", error.message);
}

static inline struct heif_error heif_collect(struct heif_context *context, const void *data,
                                             size_t size, void *to) {
    (void)context;
    heif_add(to, data, size);
    return (struct heif_error){heif_error_Ok, heif_suberror_Unspecified, ""};
}

/* A plane of samples value(u, v, channel), channels being 0 Y, 1 Cb, 2 Cr. */
static inline void heif_fill(struct heif_image *image, enum heif_channel channel, int width,
                             int height, int bits, int number, int (*value)(int, int, int)) {
    int stride;
    heif_ok(heif_image_add_plane(image, channel, width, height, bits));
    uint8_t *px = heif_image_get_plane(image, channel, &stride);
    assert_non_null(px);
    for (int v = 0; v < height; v++) {
        for (int u = 0; u < width; u++) {
            uint16_t x = (uint16_t)value(u, v, number);
            if (bits == 8)
                px[v * stride + u] = (uint8_t)x;
            else
                memcpy(px + v * stride + 2 * u, &x, sizeof x);
        }
    }
}

/* Without loss. */
static inline heif_bytes heif_encode(int width, int height, const heif_look *look,
                                     int (*value)(int, int, int)) {
    heif_bytes out = {0};
    struct heif_writer writer = {1, heif_collect};
    struct heif_context *context = heif_context_alloc();
    struct heif_image *image;
    struct heif_encoder *encoder;
    struct heif_image_handle *handle;
    bool is_mono = look->chroma == heif_chroma_monochrome;
    bool is_half = look->chroma == heif_chroma_420;
    heif_ok(heif_image_create(width, height,
                              is_mono ? heif_colorspace_monochrome : heif_colorspace_YCbCr,
                              look->chroma, &image));
    heif_fill(image, heif_channel_Y, width, height, look->bits, 0, value);
    int half_width = is_half ? (width + 1) / 2 : width;
    int half_height = is_half ? (height + 1) / 2 : height;
    for (int k = 1; k < 3 && !is_mono; k++) {
        heif_fill(image, k == 1 ? heif_channel_Cb : heif_channel_Cr, half_width, half_height,
                  look->bits, k, value);
    }
    struct heif_color_profile_nclx *nclx = heif_nclx_color_profile_alloc();
    nclx->matrix_coefficients = (enum heif_matrix_coefficients)look->matrix;
    nclx->full_range_flag = !look->is_video_range;
    heif_ok(heif_image_set_nclx_color_profile(image, nclx));
    heif_ok(heif_context_get_encoder_for_format(context, look->codec, &encoder));
    heif_ok(heif_encoder_set_lossless(encoder, 1));
    heif_encoder_set_parameter(encoder, "preset", "ultrafast");
    heif_encoder_set_parameter(encoder, "speed", "8");
    heif_encoder_set_parameter(encoder, "chroma", is_half || is_mono ? "420" : "444");
    struct heif_encoding_options *options = heif_encoding_options_alloc();
    options->output_nclx_profile = nclx;
    options->macOS_compatibility_workaround_no_nclx_profile = 0;
    options->macOS_compatibility_workaround = 0;
    if (look->orientation) options->image_orientation = (enum heif_orientation)look->orientation;
    heif_ok(heif_context_encode_image(context, image, encoder, options, &handle));
    if (look->exif) {
        heif_ok(heif_context_add_exif_metadata(context, handle, look->exif, (int)look->exif_size));
    }
    heif_ok(heif_context_write(context, &writer, &out));
    heif_image_handle_release(handle);
    heif_encoding_options_free(options);
    heif_nclx_color_profile_free(nclx);
    heif_encoder_release(encoder);
    heif_image_release(image);
    heif_context_free(context);
    return out;
}

/* ---- grids ---- */

/* As phones store them: a grid of tiles, turned by irot (quarters anticlockwise; -1: none) and
   mirrored by imir (axis 0 or 1; -1: none). */
typedef struct {
    int columns, rows, width, height; /* of the whole; the last tiles are cut */
    int tile_width, tile_height;
    const heif_bytes *tiles; /* files of one image each; where there is one, all are that one */
    int n_tiles;
    int quarters, axis;
    const uint8_t *exif; /* the whole item, its four bytes of offset included; NULL: none */
    size_t exif_size;
    bool has_two_references; /* an auxiliary image that refers to two others */
} heif_grid;

enum { HEIF_GRID = 1, HEIF_EXIF = 2, HEIF_AUX = 3, HEIF_TILES = 4 }; /* numbers of items */
enum { HEIF_MAX_TILES = 256 };

static inline void heif_item(heif_bytes *b, int id, const char *type) {
    size_t at = heif_open_box(b, "infe");
    heif_put(b, (uint32_t)2 << 24 | (memcmp(type, "hvc1", 4) == 0), 4); /* tiles are hidden */
    heif_put(b, (uint64_t)id, 2);
    heif_put(b, 0, 2);
    heif_add(b, type, 4);
    heif_put(b, 0, 1);
    heif_close_box(b, at);
}

static inline void heif_size_box(heif_bytes *b, int width, int height) {
    size_t at = heif_open_box(b, "ispe");
    heif_put(b, 0, 4);
    heif_put(b, (uint64_t)width, 4);
    heif_put(b, (uint64_t)height, 4);
    heif_close_box(b, at);
}

static inline void heif_reference(heif_bytes *b, const char *type, int from, int first, int n) {
    size_t at = heif_open_box(b, type);
    heif_put(b, (uint64_t)from, 2);
    heif_put(b, (uint64_t)n, 2);
    for (int i = 0; i < n; i++) heif_put(b, (uint64_t)first + (uint64_t)i, 2);
    heif_close_box(b, at);
}

/* The properties of one item, as they stand in ipco, from 1. */
static inline void heif_associate(heif_bytes *b, int id, const int *property, int n) {
    heif_put(b, (uint64_t)id, 2);
    heif_put(b, (uint64_t)n, 1);
    for (int i = 0; i < n; i++) heif_put(b, (uint64_t)property[i], 1);
}

static inline heif_bytes heif_compose(const heif_grid *g) {
    static const uint8_t FTYP[] = "\0\0\0\x18"
                                  "ftypheic\0\0\0\0mif1heic";
    heif_bytes b = {0};
    int n = g->columns * g->rows;
    int ids[HEIF_MAX_TILES + HEIF_TILES];
    int n_items = 0;
    size_t end;
    ids[n_items++] = HEIF_GRID;
    if (g->exif) ids[n_items++] = HEIF_EXIF;
    if (g->has_two_references) ids[n_items++] = HEIF_AUX;
    for (int i = 0; i < n; i++) ids[n_items++] = HEIF_TILES + i;
    size_t hvcc = heif_find_path(&g->tiles[0], "meta/iprp/ipco", &end);
    hvcc = heif_find(&g->tiles[0], hvcc + 8, end, "hvcC");
    heif_add(&b, FTYP, sizeof FTYP - 1);
    size_t meta = heif_open_box(&b, "meta");
    heif_put(&b, 0, 4);
    size_t box = heif_open_box(&b, "hdlr");
    heif_put(&b, 0, 8);
    heif_add(&b, "pict\0\0\0\0\0\0\0\0\0\0\0\0", 17);
    heif_close_box(&b, box);
    box = heif_open_box(&b, "pitm");
    heif_put(&b, 0, 4);
    heif_put(&b, HEIF_GRID, 2);
    heif_close_box(&b, box);
    box = heif_open_box(&b, "iinf");
    heif_put(&b, 0, 4);
    heif_put(&b, (uint64_t)n_items, 2);
    for (int i = 0; i < n_items; i++) {
        heif_item(&b, ids[i], ids[i] == HEIF_GRID ? "grid" : ids[i] == HEIF_EXIF ? "Exif" : "hvc1");
    }
    heif_close_box(&b, box);
    box = heif_open_box(&b, "iref");
    heif_put(&b, 0, 4);
    heif_reference(&b, "dimg", HEIF_GRID, HEIF_TILES, n);
    if (g->exif) heif_reference(&b, "cdsc", HEIF_EXIF, HEIF_GRID, 1);
    if (g->has_two_references) {
        size_t at = heif_open_box(&b, "auxl");
        heif_put(&b, HEIF_AUX, 2);
        heif_put(&b, 2, 2);
        heif_put(&b, HEIF_GRID, 2);
        heif_put(&b, HEIF_TILES, 2);
        heif_close_box(&b, at);
    }
    heif_close_box(&b, box);
    size_t iprp = heif_open_box(&b, "iprp");
    box = heif_open_box(&b, "ipco");
    heif_add(&b, g->tiles[0].bytes + hvcc, heif_get(g->tiles[0].bytes + hvcc, 4)); /* 1 */
    heif_size_box(&b, g->tile_width, g->tile_height);                              /* 2 */
    heif_size_box(&b, g->width, g->height);                                        /* 3 */
    size_t at = heif_open_box(&b, "irot");                                         /* 4 */
    heif_put(&b, (uint64_t)(g->quarters < 0 ? 0 : g->quarters), 1);
    heif_close_box(&b, at);
    at = heif_open_box(&b, "imir"); /* 5 */
    heif_put(&b, (uint64_t)(g->axis < 0 ? 0 : g->axis), 1);
    heif_close_box(&b, at);
    at = heif_open_box(&b, "auxC"); /* 6 */
    heif_put(&b, 0, 4);
    heif_add(&b, "urn:example:gainmap", 20);
    heif_close_box(&b, at);
    heif_close_box(&b, box);
    box = heif_open_box(&b, "ipma");
    heif_put(&b, 0, 4);
    heif_put(&b, (uint64_t)n + 1 + g->has_two_references, 4);
    int properties[3] = {3};
    int n_properties = 1;
    if (g->quarters >= 0) properties[n_properties++] = 0x80 | 4; /* essential */
    if (g->axis >= 0) properties[n_properties++] = 0x80 | 5;
    heif_associate(&b, HEIF_GRID, properties, n_properties);
    if (g->has_two_references) heif_associate(&b, HEIF_AUX, (const int[]){0x81, 2, 6}, 3);
    for (int i = 0; i < n; i++) heif_associate(&b, HEIF_TILES + i, (const int[]){0x81, 2}, 2);
    heif_close_box(&b, box);
    heif_close_box(&b, iprp);
    /* Where the data stand is filled in behind. */
    enum { ENTRY = 14, HEAD = 6 }; /* of iloc: number, reference, extents; then where, how many */
    box = heif_open_box(&b, "iloc");
    heif_put(&b, 0, 4);
    heif_put(&b, 0x4400, 2);
    heif_put(&b, (uint64_t)n_items, 2);
    size_t entries = b.size;
    for (int i = 0; i < n_items; i++) {
        heif_put(&b, (uint64_t)ids[i], 2);
        heif_add(&b, "\0\0\0\1\0\0\0\0\0\0\0\0", ENTRY - 2);
    }
    heif_close_box(&b, box);
    heif_close_box(&b, meta);
    size_t mdat = heif_open_box(&b, "mdat");
    const uint8_t grid[8] = {0,
                             0,
                             (uint8_t)(g->rows - 1),
                             (uint8_t)(g->columns - 1),
                             (uint8_t)(g->width >> 8),
                             (uint8_t)g->width,
                             (uint8_t)(g->height >> 8),
                             (uint8_t)g->height};
    size_t begin[HEIF_MAX_TILES], length[HEIF_MAX_TILES];
    for (int k = 0; k < g->n_tiles; k++) {
        size_t from = heif_find_path(&g->tiles[k], "mdat", &end) + 8;
        begin[k] = b.size;
        heif_add(&b, g->tiles[k].bytes + from, end - from);
        length[k] = b.size - begin[k];
    }
    for (int i = 0; i < n_items; i++) {
        int tile = ids[i] < HEIF_TILES || g->n_tiles == 1 ? 0 : ids[i] - HEIF_TILES;
        size_t at_byte = begin[tile];
        size_t size = length[tile];
        if (ids[i] == HEIF_GRID || ids[i] == HEIF_EXIF) {
            at_byte = b.size;
            heif_add(&b, ids[i] == HEIF_GRID ? grid : g->exif,
                     ids[i] == HEIF_GRID ? sizeof grid : g->exif_size);
            size = b.size - at_byte;
        }
        heif_bytes place = {0};
        heif_put(&place, (uint64_t)at_byte, 4);
        heif_put(&place, (uint64_t)size, 4);
        memcpy(b.bytes + entries + ENTRY * (size_t)i + HEAD, place.bytes, place.size);
        free(place.bytes);
    }
    heif_close_box(&b, mdat);
    return b;
}

#endif
