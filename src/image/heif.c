/* HEIC and AVIF photos: the container, and what its pictures are put together to. The pictures are
   decoded by the module trammel-heif.so. libheif, which does both, brings every picture to RGB and
   back (in version 1.15), so that its luma is no longer what was stored; and it refuses files whose
   gain map refers to two images.
   Sources: ISO/IEC 14496-12 (boxes: 4.2, 8.11), ISO/IEC 23008-12 (6.5, properties; 6.6.2.3, grids),
   ISO/IEC 23000-22 (7.3.6.7: clap comes before irot and imir). */
#include "image/codec.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/module.h"
#include "image/heif_module.h"

/* Phones make photos of 50 to 200 tiles. */
enum { MAX_TILES = 4096 };
/* More than any camera tells. */
enum { MAX_EXIF = 4 << 20 };

const char *tr_heif_kind(const uint8_t *data, size_t size) {
    static const struct {
        const char *brand;
        const char *kind;
    } BRANDS[] = {{"hei", "HEIC"},  {"hev", "HEIC"},  {"mif1", "HEIF"},
                  {"mif2", "HEIF"}, {"msf1", "HEIF"}, {"avi", "AVIF"}};
    if (size < 12 || memcmp(data + 4, "ftyp", 4) != 0) return NULL;
    for (size_t i = 0; i < sizeof BRANDS / sizeof *BRANDS; i++) {
        if (memcmp(data + 8, BRANDS[i].brand, strlen(BRANDS[i].brand)) == 0) return BRANDS[i].kind;
    }
    return NULL;
}

/* ---- Bytes and boxes ---- */

/* A part of the file, read from its beginning. Reading beyond its end gives 0 and is noted. */
typedef struct {
    const uint8_t *at;
    size_t left;
    bool is_short;
} part;

static uint64_t take(part *p, int n) {
    uint64_t x = 0;
    if (p->left < (size_t)n) {
        p->is_short = true;
        p->left = 0;
        return 0;
    }
    for (int i = 0; i < n; i++) x = x << 8 | p->at[i];
    p->at += n;
    p->left -= (size_t)n;
    return x;
}

typedef struct {
    char type[4];
    part content;
} box;

static bool is_of(const char type[4], const char *word) {
    return memcmp(type, word, 4) == 0;
}

/* The next box; false: there is no whole one. */
static bool next_box(part *p, box *b) {
    part from = *p;
    uint64_t length = take(p, 4);
    uint64_t type = take(p, 4);
    if (length == 1) length = take(p, 8);
    if (length == 0) length = from.left; /* up to the end */
    size_t head = from.left - p->left;
    if (p->is_short || length < head || length > from.left) return false;
    for (int i = 0; i < 4; i++) b->type[i] = (char)(type >> (24 - 8 * i));
    b->content = (part){.at = p->at, .left = (size_t)length - head};
    p->at = from.at + length;
    p->left = from.left - (size_t)length;
    return true;
}

/* The content of the first box of a type; empty where there is none. */
static part find_box(part p, const char *type) {
    box b;
    while (next_box(&p, &b)) {
        if (is_of(b.type, type)) return b.content;
    }
    return (part){0};
}

/* ---- The container ---- */

/* Contents of boxes; empty where they are not there. */
typedef struct {
    part file;
    part iinf, iloc, iref, ipco, ipma, idat;
    uint32_t primary;
} container;

/* Version of a box with version and flags, which are taken. */
static int take_version(part *p, uint32_t *flags) {
    uint64_t x = take(p, 4);
    if (flags) *flags = (uint32_t)(x & 0xffffff);
    return (int)(x >> 24);
}

/* An item's number, of 2 or 4 bytes. */
static uint32_t take_id(part *p, bool is_long) {
    return (uint32_t)take(p, is_long ? 4 : 2);
}

static bool open_container(const uint8_t *data, size_t size, container *c) {
    *c = (container){.file = {.at = data, .left = size}};
    part meta = find_box(c->file, "meta");
    (void)take_version(&meta, NULL);
    part pitm = find_box(meta, "pitm");
    part iprp = find_box(meta, "iprp");
    c->iinf = find_box(meta, "iinf");
    c->iloc = find_box(meta, "iloc");
    c->iref = find_box(meta, "iref");
    c->idat = find_box(meta, "idat");
    c->ipco = find_box(iprp, "ipco");
    c->ipma = find_box(iprp, "ipma");
    c->primary = take_id(&pitm, take_version(&pitm, NULL) > 0);
    return !pitm.is_short && c->primary > 0;
}

/* The next item of iinf, behind its head; false: there is none. */
static bool next_item(part *iinf, uint32_t *id, char type[4]) {
    box b;
    while (next_box(iinf, &b)) {
        int version = take_version(&b.content, NULL);
        if (!is_of(b.type, "infe") || version < 2) continue;
        *id = take_id(&b.content, version > 2);
        (void)take(&b.content, 2); /* protection */
        uint64_t word = take(&b.content, 4);
        for (int i = 0; i < 4; i++) type[i] = (char)(word >> (24 - 8 * i));
        if (!b.content.is_short) return true;
    }
    return false;
}

static part items_of(const container *c) {
    part p = c->iinf;
    (void)take_id(&p, take_version(&p, NULL) > 0); /* how many there are */
    return p;
}

/* False: there is no such item. */
static bool find_type(const container *c, uint32_t id, char type[4]) {
    uint32_t other;
    part p = items_of(c);
    while (next_item(&p, &other, type)) {
        if (other == id) return true;
    }
    return false;
}

/* What an item refers to: the list behind its number, with how long a number there is. */
static part references_of(const container *c, const char *type, uint32_t id, bool *is_long) {
    box b;
    part p = c->iref;
    *is_long = take_version(&p, NULL) > 0;
    while (next_box(&p, &b)) {
        if (!is_of(b.type, type) || take_id(&b.content, *is_long) != id) continue;
        uint64_t n = take(&b.content, 2);
        size_t bytes = n * (*is_long ? 4 : 2);
        if (bytes > b.content.left) break;
        b.content.left = bytes;
        return b.content;
    }
    return (part){0};
}

/* ---- Where an item's bytes stand ---- */

typedef struct {
    uint8_t *bytes; /* owned */
    size_t size;
} item_data;

/* One extent more. False: it is not in the file, or memory ran out (noted). */
static bool add_extent(const container *c, bool is_in_idat, uint64_t from, uint64_t length,
                       item_data *out, bool *has_no_memory) {
    part source = is_in_idat ? c->idat : c->file;
    if (from > source.left) return false;
    if (length == 0) length = source.left - from;
    /* No item is larger than the file, so that a short file cannot ask for all memory. */
    if (length > source.left - from || length > c->file.left - out->size) return false;
    uint8_t *bytes = realloc(out->bytes, out->size + (size_t)length + 1);
    if (!bytes) {
        *has_no_memory = true;
        return false;
    }
    memcpy(bytes + out->size, source.at + from, (size_t)length);
    out->bytes = bytes;
    out->size += (size_t)length;
    return true;
}

/* Reads an item's entry of iloc behind its number; wanted: its bytes, too. */
static bool read_entry(const container *c, part *p, int version, const int size_of[4],
                       item_data *wanted, bool *has_no_memory) {
    uint64_t construction = version > 0 ? take(p, 2) & 15 : 0;
    (void)take(p, 2); /* data reference: this file */
    uint64_t base = take(p, size_of[2]);
    uint64_t n = take(p, 2);
    bool ok = construction < 2;
    for (; n > 0 && !p->is_short; n--) {
        (void)take(p, version > 0 ? size_of[3] : 0);
        uint64_t offset = take(p, size_of[0]);
        uint64_t length = take(p, size_of[1]);
        ok = ok && !p->is_short && base <= UINT64_MAX - offset;
        ok = ok && (!wanted ||
                    add_extent(c, construction == 1, base + offset, length, wanted, has_no_memory));
    }
    return ok && !p->is_short;
}

/* The bytes of an item. False: it has none in this file, or memory ran out (err set). */
static bool read_item(const container *c, uint32_t id, item_data *out, tr_error *err) {
    part p = c->iloc;
    int version = take_version(&p, NULL);
    uint64_t sizes = take(&p, 2); /* four bits each: offset, length, base, index */
    int size_of[4];
    bool has_no_memory = false;
    *out = (item_data){0};
    for (int i = 0; i < 4; i++) {
        size_of[i] = (int)(sizes >> (12 - 4 * i)) & 15;
        if (size_of[i] > 8) return false;
    }
    uint64_t n = take(&p, version < 2 ? 2 : 4);
    for (; n > 0 && !p.is_short; n--) {
        bool is_wanted = take_id(&p, version > 1) == id;
        bool ok = read_entry(c, &p, version, size_of, is_wanted ? out : NULL, &has_no_memory);
        if (is_wanted && ok && out->size > 0) return true;
        if (is_wanted) break;
    }
    free(out->bytes);
    *out = (item_data){0};
    if (has_no_memory) tr_fail_memory(err);
    return false;
}

/* ---- Properties ---- */

/* Property number i (from 1) of ipco. */
static bool nth_property(const container *c, uint64_t i, box *b) {
    part p = c->ipco;
    for (; i > 0; i--) {
        if (!next_box(&p, b)) return false;
    }
    return true;
}

/* An item's entry of ipma: the list of its properties; *size_of: of one in it. */
static part associations_of(const container *c, uint32_t id, int *size_of) {
    uint32_t flags;
    part p = c->ipma;
    int version = take_version(&p, &flags);
    *size_of = flags & 1 ? 2 : 1;
    uint64_t n = take(&p, 4);
    for (; n > 0 && !p.is_short; n--) {
        uint32_t other = take_id(&p, version > 0);
        size_t bytes = (size_t)take(&p, 1) * (size_t)*size_of;
        if (p.is_short || bytes > p.left) break;
        if (other == id) return (part){.at = p.at, .left = bytes};
        p.at += bytes;
        p.left -= bytes;
    }
    return (part){0};
}

/* The first property of an item of that type (for colr: of the kind nclx); false: it has none. */
static bool find_property(const container *c, uint32_t id, const char *type, part *content) {
    int size;
    box b;
    part list = associations_of(c, id, &size);
    while (list.left > 0) {
        uint64_t i = take(&list, size) & (size == 2 ? 0x7fff : 0x7f); /* but for "essential" */
        if (i == 0 || !nth_property(c, i, &b) || !is_of(b.type, type)) continue;
        *content = b.content;
        if (!is_of(type, "colr")) return true;
        if (take(content, 4) == 0x6e636c78) return true; /* nclx */
    }
    return false;
}

/* The part of an image that is to be kept. */
typedef struct {
    uint32_t left, top, width, height;
} window;

/* One side of clap: n / d pixels about the middle, moved by the signed fraction that follows. */
static bool take_side(part *size, part *offset, uint32_t side, uint32_t *from, uint32_t *kept) {
    double n = (double)take(size, 4);
    double d = (double)take(size, 4);
    double on = (double)(int32_t)(uint32_t)take(offset, 4);
    double od = (double)take(offset, 4);
    if (size->is_short || offset->is_short || !(d > 0) || !(od > 0)) return false;
    double width = n / d;
    double left = on / od + ((double)side - width) / 2;
    if (!(width >= 1) || !(left > -0.5) || !(left + width < (double)side + 0.5)) return false;
    *from = (uint32_t)(left + 0.5);
    *kept = (uint32_t)(width + 0.5);
    return *kept >= 1 && *from + *kept <= side;
}

/* Without clap all is kept. */
static bool find_window(const container *c, uint32_t id, uint32_t width, uint32_t height,
                        window *w) {
    part p;
    *w = (window){0, 0, width, height};
    if (!find_property(c, id, "clap", &p)) return true;
    part offset = p;
    (void)take(&offset, 8);
    (void)take(&offset, 8); /* the two sizes come first */
    return take_side(&p, &offset, width, &w->left, &w->width) &&
           take_side(&p, &offset, height, &w->top, &w->height);
}

/* ---- Pictures ---- */

typedef struct {
    const container *c;
    const char *name, *kind; /* for messages */
    tr_heif_decode_function *decode;
    tr_error *err;
} reader;

static bool damaged(const reader *r, const char *why) {
    return tr_fail_at(
        r->err, TR_BAD_INPUT, r->name, 0, NULL,
        "the %s photo is damaged or ends early (%s); copy the photo from the camera again", r->kind,
        why);
}

static bool unsupported(const reader *r, const char *why) {
    return tr_fail_at(r->err, TR_BAD_INPUT, r->name, 0, NULL,
                      "this kind of %s photo cannot be read (%s); set the camera to save JPEG "
                      "(\"most compatible\") and take the photo again",
                      r->kind, why);
}

/* Of the item itself, else of the whole. */
static void find_range(const reader *r, uint32_t id, tr_heif_picture *picture) {
    part p;
    if (!find_property(r->c, id, "colr", &p) && !find_property(r->c, r->c->primary, "colr", &p)) {
        return;
    }
    (void)take(&p, 4); /* primaries, transfer */
    picture->matrix = (int)take(&p, 2);
    picture->is_full_range = take(&p, 1) >> 7;
    picture->has_range = !p.is_short;
}

/* Decodes a coded item to where place_for wants it. */
static bool decode_item(const reader *r, uint32_t id,
                        bool (*place_for)(void *, int, int, tr_heif_place *), void *context) {
    char type[4];
    char text[128] = "";
    part config;
    item_data data;
    if (!find_type(r->c, id, type)) return damaged(r, "an image is missing");
    bool is_av1 = is_of(type, "av01");
    if (!is_av1 && !is_of(type, "hvc1")) return unsupported(r, "an image of another kind");
    if (!find_property(r->c, id, is_av1 ? "av1C" : "hvcC", &config)) {
        return damaged(r, "an image does not say how it is coded");
    }
    if (!read_item(r->c, id, &data, r->err)) {
        return r->err->code == TR_NO_MEMORY ? false : damaged(r, "its data are missing");
    }
    tr_heif_picture picture = {.is_av1 = is_av1,
                               .config = config.at,
                               .config_size = config.left,
                               .data = data.bytes,
                               .size = data.size,
                               .place_for = place_for,
                               .context = context};
    find_range(r, id, &picture);
    tr_heif_outcome outcome = r->decode(&picture, text, sizeof text);
    free(data.bytes);
    switch (outcome) {
    case TR_HEIF_OK: return true;
    case TR_HEIF_NO_MEMORY: return tr_fail_memory(r->err);
    case TR_HEIF_UNSUPPORTED: return unsupported(r, text);
    case TR_HEIF_NO_ROOM:
        return r->err->code == TR_OK ? damaged(r, "its tiles do not make the image") : false;
    case TR_HEIF_DAMAGED: break;
    }
    return damaged(r, text);
}

/* An image of one picture, and where it goes. */
typedef struct {
    const reader *r;
    tr_image *out;
} lone_picture;

static bool place_lone(void *context, int width, int height, tr_heif_place *place) {
    const lone_picture *l = context;
    if (!tr_image_check_size(width, height, l->r->name, l->r->err) ||
        !tr_image_init(l->out, width, height, l->r->err)) {
        return false;
    }
    *place = (tr_heif_place){l->out->px, width, width, height};
    return true;
}

/* Tiles row by row, all of one size; those at the right and at the bottom are cut. */
typedef struct {
    uint32_t columns, rows, width, height;
} grid;

static bool read_grid(const reader *r, grid *g) {
    item_data data;
    if (!read_item(r->c, r->c->primary, &data, r->err)) {
        return r->err->code == TR_NO_MEMORY ? false : damaged(r, "its grid is missing");
    }
    part p = {.at = data.bytes, .left = data.size};
    uint64_t version = take(&p, 1);
    int size_of = take(&p, 1) & 1 ? 4 : 2;
    g->rows = (uint32_t)take(&p, 1) + 1;
    g->columns = (uint32_t)take(&p, 1) + 1;
    g->width = (uint32_t)take(&p, size_of);
    g->height = (uint32_t)take(&p, size_of);
    free(data.bytes);
    if (p.is_short || version != 0) return damaged(r, "its grid is not of a known kind");
    return g->rows * g->columns <= MAX_TILES || unsupported(r, "a grid of more than 4096 tiles");
}

/* The tile that is decoded next. */
typedef struct {
    tr_image *out;
    uint32_t column, row;
    int width, height; /* of all tiles; 0: the first is not decoded yet */
} tile;

static int least(int a, int b) {
    return a < b ? a : b;
}

static bool place_tile(void *context, int width, int height, tr_heif_place *place) {
    tile *t = context;
    if (t->width == 0) {
        t->width = width;
        t->height = height;
    }
    if (width != t->width || height != t->height) return false;
    int64_t u = (int64_t)t->column * width;
    int64_t v = (int64_t)t->row * height;
    if (u >= t->out->width || v >= t->out->height) return false; /* nothing of it is seen */
    *place = (tr_heif_place){.to = t->out->px + v * t->out->width + u,
                             .stride = t->out->width,
                             .width = least(width, t->out->width - (int)u),
                             .height = least(height, t->out->height - (int)v)};
    return true;
}

static bool decode_grid(const reader *r, const grid *g, tr_image *out) {
    bool is_long;
    tile t = {.out = out};
    part tiles = references_of(r->c, "dimg", r->c->primary, &is_long);
    bool ok = tiles.left == (size_t)g->columns * g->rows * (is_long ? 4 : 2);
    for (t.row = 0; t.row < g->rows && ok; t.row++) {
        for (t.column = 0; t.column < g->columns && ok; t.column++) {
            uint32_t id = take_id(&tiles, is_long);
            if (!decode_item(r, id, place_tile, &t)) return false;
        }
    }
    ok = ok && (int64_t)t.width * g->columns >= out->width &&
         (int64_t)t.height * g->rows >= out->height;
    return ok || damaged(r, "its tiles do not make the image");
}

/* The image as coded, before clap. */
static bool decode_whole(const reader *r, tr_image *out) {
    char type[4];
    grid g = {0};
    lone_picture lone = {r, out};
    if (!find_type(r->c, r->c->primary, type)) return damaged(r, "its image is missing");
    if (!is_of(type, "grid")) return decode_item(r, r->c->primary, place_lone, &lone);
    return read_grid(r, &g) && tr_image_check_size(g.width, g.height, r->name, r->err) &&
           tr_image_init(out, (int)g.width, (int)g.height, r->err) && decode_grid(r, &g, out);
}

/* In place: rows of the window one behind the other. */
static bool cut(const reader *r, tr_image *image) {
    window w;
    if (!find_window(r->c, r->c->primary, (uint32_t)image->width, (uint32_t)image->height, &w)) {
        return damaged(r, "its clean aperture lies outside");
    }
    for (uint32_t v = 0; v < w.height; v++) {
        memmove(image->px + (size_t)v * w.width,
                image->px + (size_t)(w.top + v) * (size_t)image->width + w.left, w.width);
    }
    image->width = (int)w.width;
    image->height = (int)w.height;
    return true;
}

bool tr_heif_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                    tr_error *err) {
    container c;
    tr_error why = {0};
    reader r = {.c = &c, .name = name, .kind = tr_heif_kind(data, size), .err = &why};
    r.decode = (tr_heif_decode_function *)tr_module_function("heif", "tr_heif_module_decode", err);
    if (!r.decode) return false;
    bool ok = open_container(data, size, &c) ? decode_whole(&r, out) && cut(&r, out)
                                             : damaged(&r, "it names no image");
    if (!ok && err) *err = why;
    return ok;
}

/* ---- EXIF ---- */

/* The item that describes the primary one. */
static uint32_t find_exif(const container *c) {
    uint32_t id;
    char type[4];
    part p = items_of(c);
    while (next_item(&p, &id, type)) {
        bool is_long;
        if (!is_of(type, "Exif")) continue;
        part list = references_of(c, "cdsc", id, &is_long);
        while (list.left > 0) {
            if (take_id(&list, is_long) == c->primary) return id;
        }
    }
    return 0;
}

bool tr_heif_exif(const uint8_t *data, size_t size, uint8_t **block, size_t *block_size,
                  tr_error *err) {
    container c;
    item_data item = {0};
    tr_error why = {0};
    uint32_t id = open_container(data, size, &c) ? find_exif(&c) : 0;
    if (id > 0 && read_item(&c, id, &item, &why) && item.size > MAX_EXIF) {
        free(item.bytes);
        item = (item_data){0};
    }
    *block = item.bytes;
    *block_size = item.size;
    return why.code != TR_NO_MEMORY || tr_fail_memory(err);
}
