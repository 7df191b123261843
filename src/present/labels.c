#include "present/labels.h"

void tr_label_take(tr_label_room *room, tr_box box) {
    if (room->n < TR_MAX_TAKEN) room->taken[room->n++] = box;
}

static bool overlap(tr_box a, tr_box b) {
    return a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height &&
           b.y < a.y + a.height;
}

static bool is_inside(tr_box a, tr_box of) {
    return a.x >= of.x && a.y >= of.y && a.x + a.width <= of.x + of.width &&
           a.y + a.height <= of.y + of.height;
}

static bool is_free(const tr_label_room *room, tr_box box) {
    if (!is_inside(box, room->within)) return false;
    for (int i = 0; i < room->n; i++) {
        if (overlap(box, room->taken[i])) return false;
    }
    return true;
}

tr_vec2 tr_label_place(tr_label_room *room, tr_vec2 at, double width, double height) {
    enum { DIRECTIONS = 16 };
    enum { STEPS = 67 };
    static const double STEP_PX = 6;
    for (int i = 0; i < STEPS; i++) {
        double r = i * STEP_PX;
        for (int k = 0; k < DIRECTIONS; k++) {
            double a = 2 * TR_PI * k / DIRECTIONS;
            tr_vec2 c = tr_v2(at.x + r * cos(a), at.y + r * sin(a));
            tr_box box = {c.x - width / 2, c.y - height / 2, width, height};
            if (!is_free(room, box)) continue;
            tr_label_take(room, box);
            return c;
        }
    }
    return at;
}
