#include "tags/family.h"

#include <stdint.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag16h5.h>
#include <apriltag/tag25h9.h>
#include <apriltag/tag36h10.h>
#include <apriltag/tag36h11.h>
#include <apriltag/tagCircle21h7.h>
#include <apriltag/tagCircle49h12.h>
#include <apriltag/tagCustom48h12.h>
#include <apriltag/tagStandard41h12.h>
#include <apriltag/tagStandard52h13.h>

#include "tags/names.h"

#define ROW(name, size) {#name, name##_create, name##_destroy},
static const struct {
    const char *name;
    apriltag_family_t *(*create)(void);
    void (*destroy)(apriltag_family_t *);
} FAMILIES[] = {TR_TAG_FAMILIES(ROW)};
#undef ROW

enum { N_FAMILIES = sizeof FAMILIES / sizeof *FAMILIES };

struct apriltag_family *tr_tag_family_new(const char *name, tr_error *err) {
    for (int i = 0; i < N_FAMILIES; i++) {
        if (strcmp(name, FAMILIES[i].name) != 0) continue;
        apriltag_family_t *family = FAMILIES[i].create();
        if (!family) tr_fail_memory(err);
        return family;
    }
    tr_fail(err, TR_BAD_INPUT,
            "'%s' is not a tag family that is known here; tag36h11 is the usual one", name);
    return NULL;
}

void tr_tag_family_free(struct apriltag_family *family) {
    if (!family) return;
    for (int i = 0; i < N_FAMILIES; i++) {
        if (strcmp(family->name, FAMILIES[i].name) == 0) {
            FAMILIES[i].destroy(family);
            return;
        }
    }
}

bool tr_tag_pattern_make(const struct apriltag_family *family, int id, tr_tag_pattern *out) {
    if (id < 0 || (uint32_t)id >= family->ncodes || family->total_width > TR_TAG_MAX_CELLS) {
        return false;
    }
    int cells = family->total_width;
    int border = family->width_at_border;
    int rim = (cells - border) / 2;
    memset(out, 0, sizeof *out);
    out->cells = cells;
    out->border = border;
    /* One white ring: just outside a dark border, or the border itself where that is light. All
       else is black but for the bits. */
    int ring = border + (family->reversed_border ? 0 : 2);
    int start = (cells - ring) / 2;
    int end = start + ring - 1;
    for (int i = start; i <= end; i++) {
        out->is_white[start][i] = out->is_white[end][i] = true;
        out->is_white[i][start] = out->is_white[i][end] = true;
    }
    /* Bit i (the most significant first) stands at (bit_x, bit_y) from the border's corner. */
    for (uint32_t i = 0; i < family->nbits; i++) {
        bool bit = (family->codes[id] >> (family->nbits - 1 - i)) & 1;
        out->is_white[(int)family->bit_y[i] + rim][(int)family->bit_x[i] + rim] = bit;
    }
    return true;
}
