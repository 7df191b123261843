#include "job/free_area.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "job/layout.h"
#include "job/read.h"

enum { MAX_AREAS = 16, MAX_CORNERS = 64 };

/* As far as anything is placed, and as high as any workshop. mm */
static const double MAX_MM = 100000;

/* ---- polygons ---- */

static double cross(tr_vec2 a, tr_vec2 b, tr_vec2 c) {
    return (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
}

/* c lies on the line through a and b: does it lie between them? */
static bool is_between(tr_vec2 a, tr_vec2 b, tr_vec2 c) {
    return fmin(a.x, b.x) <= c.x && c.x <= fmax(a.x, b.x) && fmin(a.y, b.y) <= c.y &&
           c.y <= fmax(a.y, b.y);
}

/* Two stretches have a point in common. */
static bool meet(tr_vec2 a, tr_vec2 b, tr_vec2 c, tr_vec2 d) {
    double abc = cross(a, b, c);
    double abd = cross(a, b, d);
    double cda = cross(c, d, a);
    double cdb = cross(c, d, b);
    if (((abc > 0 && abd < 0) || (abc < 0 && abd > 0)) &&
        ((cda > 0 && cdb < 0) || (cda < 0 && cdb > 0))) {
        return true;
    }
    return (abc == 0 && is_between(a, b, c)) || (abd == 0 && is_between(a, b, d)) ||
           (cda == 0 && is_between(c, d, a)) || (cdb == 0 && is_between(c, d, b));
}

/* b is the common corner of edges a-b and b-c: does the second lead back along the first? */
static bool folds(tr_vec2 a, tr_vec2 b, tr_vec2 c) {
    return cross(a, b, c) == 0 && (a.x - b.x) * (c.x - b.x) + (a.y - b.y) * (c.y - b.y) > 0;
}

bool tr_polygon_is_simple(const tr_vec2 *p, int n, int *edge, int *other) {
    for (int i = 0; i < n; i++) {
        *edge = *other = i;
        if (p[i].x == p[(i + 1) % n].x && p[i].y == p[(i + 1) % n].y) return false;
    }
    for (int i = 0; i < n; i++) {
        tr_vec2 a = p[i];
        tr_vec2 b = p[(i + 1) % n];
        for (int k = i + 1; k < n; k++) {
            tr_vec2 c = p[k];
            tr_vec2 d = p[(k + 1) % n];
            *edge = i;
            *other = k;
            bool is_bad = k == i + 1             ? folds(a, b, d)
                          : i == 0 && k == n - 1 ? folds(c, a, b)
                                                 : meet(a, b, c, d);
            if (is_bad) return false;
        }
    }
    return true;
}

/* A ray to the right crosses the outline an odd number of times. */
bool tr_polygon_has(const tr_vec2 *p, int n, tr_vec2 at) {
    bool is_in = false;
    for (int i = 0; i < n; i++) {
        tr_vec2 a = p[i];
        tr_vec2 b = p[(i + 1) % n];
        if ((a.y > at.y) == (b.y > at.y)) continue;
        is_in ^= at.x < a.x + (at.y - a.y) / (b.y - a.y) * (b.x - a.x);
    }
    return is_in;
}

/* ---- the layout's ---- */

static void read_corners(tr_yaml y, tr_free_area *area) {
    area->corners_mm = tr_yaml_array(y, 3, MAX_CORNERS, sizeof *area->corners_mm, &area->n_corners);
    for (int i = 0; i < area->n_corners && tr_yaml_has(y); i++) {
        double xy[2] = {0, 0};
        tr_yaml_numbers(tr_yaml_item(y, i), xy, 2, -MAX_MM, MAX_MM);
        area->corners_mm[i] = tr_v2(xy[0], xy[1]);
    }
    int edge;
    int other;
    if (area->n_corners == 0 || !tr_yaml_has(y) ||
        tr_polygon_is_simple(area->corners_mm, area->n_corners, &edge, &other)) {
        return;
    }
    int n = area->n_corners;
    if (edge == other) {
        tr_yaml_fail(tr_yaml_item(y, (edge + 1) % n),
                     "is the same place as the corner before it; leave one out");
    } else {
        tr_yaml_fail(y,
                     "are no simple outline: the line from corner %d to %d meets that from %d to "
                     "%d; give the corners in their order round the area",
                     edge + 1, (edge + 1) % n + 1, other + 1, (other + 1) % n + 1);
    }
}

static void read_area(tr_yaml y, int i, tr_free_area *area) {
    tr_yaml_keys(y, "name? from height_mm corners_mm");
    tr_yaml name = tr_yaml_at(y, "name");
    tr_yaml from = tr_yaml_at(y, "from");
    snprintf(area->name, sizeof area->name, "free area %d", i + 1);
    if (tr_yaml_has(name)) tr_yaml_text(name, area->name, sizeof area->name);
    area->from_line = tr_yaml_line(from);
    tr_read_origins(from, false, area->from);
    area->height_mm = tr_yaml_size(tr_yaml_at(y, "height_mm"), MAX_MM);
    read_corners(tr_yaml_at(y, "corners_mm"), area);
}

void tr_free_areas_read(tr_yaml y, tr_layout *layout) {
    layout->free_areas =
        tr_yaml_array(y, 1, MAX_AREAS, sizeof *layout->free_areas, &layout->n_free_areas);
    for (int i = 0; i < layout->n_free_areas && tr_yaml_has(y); i++) {
        read_area(tr_yaml_item(y, i), i, &layout->free_areas[i]);
    }
}

void tr_free_areas_release(tr_layout *layout) {
    for (int i = 0; i < layout->n_free_areas; i++) free(layout->free_areas[i].corners_mm);
    free(layout->free_areas);
}
