#include "codes/codes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/module.h"
#include "codes/module.h"

/* Turned in addition to the two axes along which ZBar looks: no code is then off by more than a
   sixteenth of a turn. */
static const double TURNS_RAD[] = {0.7854, 0.3927, 1.1781};
enum { N_TURNS = 3 };
/* Sizes below this tell nothing. px */
enum { LEAST_SIDE_PX = 64, MOST_SIDE_PX = 32767 };

static bool is_same(const tr_barcode *a, const char *symbology, const char *text, size_t size) {
    return a->size == size && memcmp(a->text, text, size) == 0 &&
           strcmp(a->symbology, symbology) == 0;
}

static bool add(void *context, const char *symbology, const char *text, size_t size) {
    tr_codes *codes = context;
    for (int i = 0; i < codes->n; i++) {
        if (is_same(&codes->items[i], symbology, text, size)) return true;
    }
    if (codes->n == TR_MAX_CODES) return true;
    tr_barcode *items = realloc(codes->items, ((size_t)codes->n + 1) * sizeof *items);
    if (!items) return false;
    codes->items = items;
    tr_barcode *code = &items[codes->n];
    *code = (tr_barcode){.text = malloc(size + 1), .size = size};
    if (!code->text) return false;
    memcpy(code->text, text, size);
    code->text[size] = 0;
    strncpy(code->symbology, symbology, sizeof code->symbology - 1);
    codes->n++;
    return true;
}

/* The picture turned about its middle, in a square that holds the shorter side; bilinear. */
static bool turn(const tr_image *image, double angle_rad, tr_image *out, tr_error *err) {
    int side = (int)hypot(image->width, image->height);
    if (!tr_image_init(out, side, side, err)) return false;
    double c = cos(angle_rad);
    double s = sin(angle_rad);
    for (int v = 0; v < side; v++) {
        for (int u = 0; u < side; u++) {
            double x = u - side / 2.0;
            double y = v - side / 2.0;
            double fx = c * x - s * y + image->width / 2.0;
            double fy = s * x + c * y + image->height / 2.0;
            uint8_t *to = &out->px[(long)v * side + u];
            *to = 255;
            if (!(fx >= 0 && fy >= 0 && fx < image->width - 1 && fy < image->height - 1)) continue;
            int iu = (int)fx;
            int iv = (int)fy;
            double a = fx - iu;
            double b = fy - iv;
            const uint8_t *p = tr_image_row(image, iv) + iu;
            const uint8_t *q = p + image->width;
            *to = (uint8_t)((1 - b) * ((1 - a) * p[0] + a * p[1]) +
                            b * ((1 - a) * q[0] + a * q[1]) + 0.5);
        }
    }
    return true;
}

static bool scan(tr_codes_scan *module, const tr_image *image, tr_codes *codes, tr_error *err) {
    if (image->width < LEAST_SIDE_PX || image->height < LEAST_SIDE_PX ||
        image->width > MOST_SIDE_PX || image->height > MOST_SIDE_PX) {
        return true;
    }
    return module(image->px, image->width, image->height, add, codes) || tr_fail_memory(err);
}

static bool scan_turned(tr_codes_scan *module, const tr_image *image, tr_codes *codes,
                        tr_error *err) {
    bool ok = true;
    for (int i = 0; i < N_TURNS && ok && codes->n == 0; i++) {
        tr_image turned;
        ok = turn(image, TURNS_RAD[i], &turned, err);
        if (!ok) break;
        ok = scan(module, &turned, codes, err);
        tr_image_release(&turned);
    }
    return ok;
}

/* The same at 1/factor; turned, too, where that is asked for. */
static bool scan_small(tr_codes_scan *module, const tr_image *image, int factor, bool is_turned,
                       tr_codes *codes, tr_error *err) {
    tr_image small;
    if (image->width < factor * LEAST_SIDE_PX || image->height < factor * LEAST_SIDE_PX) {
        return true;
    }
    if (!tr_image_shrink(image, factor, &small, err)) return false;
    bool ok =
        is_turned ? scan_turned(module, &small, codes, err) : scan(module, &small, codes, err);
    tr_image_release(&small);
    return ok;
}

static int compare(const void *a, const void *b) {
    const tr_barcode *p = a;
    const tr_barcode *q = b;
    int order = memcmp(p->text, q->text, p->size < q->size ? p->size : q->size);
    if (order == 0) order = (p->size > q->size) - (p->size < q->size);
    return order ? order : strcmp(p->symbology, q->symbology);
}

bool tr_codes_read(const tr_image *image, tr_codes *out, tr_error *err) {
    *out = (tr_codes){0};
    tr_codes_scan *module =
        (tr_codes_scan *)tr_module_function("codes", "tr_codes_module_scan", err);
    bool ok = module && scan(module, image, out, err) &&
              scan_small(module, image, 2, false, out, err) &&
              scan_small(module, image, 4, false, out, err);
    if (ok && out->n == 0) ok = scan_small(module, image, 2, true, out, err);
    if (ok && out->n == 0) ok = scan_turned(module, image, out, err);
    if (!ok) {
        tr_codes_release(out);
        return false;
    }
    if (out->n > 1) qsort(out->items, (size_t)out->n, sizeof *out->items, compare);
    return true;
}

void tr_codes_release(tr_codes *codes) {
    for (int i = 0; i < codes->n; i++) free(codes->items[i].text);
    free(codes->items);
    *codes = (tr_codes){0};
}
