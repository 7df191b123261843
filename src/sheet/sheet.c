#include "sheet/sheet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/yaml.h"
#include "geom/covariance.h"
#include "tags/names.h"

/* No face is larger than this: it is the size of a workshop. mm */
#define MAX_SIZE_MM 100000.0

/* Rounding of a mark that reaches exactly to the edge of the face. mm */
#define EDGE_TOLERANCE_MM 1e-6

/* Two corners nearer than this are one, written twice; the finest checker has squares of some mm.
 */
#define SAME_CORNER_MM 0.1

/* Rounding of the mean of a tag's edges. mm */
#define SAME_SIZE_MM 0.001

/* No variance of a place reaches this. mm^2 */
#define MAX_VARIANCE 1e6

/* More marks than any face needs; each is compared with every other. */
enum { MAX_TAGS = 1000, MAX_CORNERS = 10000, MAX_DISCS = 1000, MAX_POINTS = 100 };

/* In the order of tr_sheet_kind. */
static const char *const KINDS[] = {"mat", "board", "plate", "hub"};
enum { N_KINDS = sizeof KINDS / sizeof *KINDS }; /* of files */

/* In the order of is_white. */
static const char *const COLOURS[] = {"black", "white"};
enum { N_COLOURS = sizeof COLOURS / sizeof *COLOURS };

tr_support tr_sheet_usual_support(tr_sheet_kind kind) {
    if (kind == TR_SHEET_BOARD) return TR_ON_STAND;
    return kind == TR_SHEET_HUB ? TR_ON_WHEEL : TR_ON_FLOOR;
}

const char *tr_sheet_kind_name(tr_sheet_kind kind) {
    return kind == TR_SHEET_TAG ? "tag" : KINDS[kind];
}

double tr_tag_width(const tr_tag *tag) {
    return tag->edges_mm[0] > 0 ? tag->edges_mm[0] : tag->size_mm;
}

double tr_tag_height(const tr_tag *tag) {
    return tag->edges_mm[1] > 0 ? tag->edges_mm[1] : tag->size_mm;
}

tr_vec2 tr_tag_corner(const tr_tag *tag, int k) {
    static const double SIGN[4][2] = {{-1, -1}, {1, -1}, {1, 1}, {-1, 1}};
    double x = SIGN[k][0] * tr_tag_width(tag) / 2;
    double y = SIGN[k][1] * tr_tag_height(tag) / 2;
    double c = cos(tag->turn_rad);
    double s = sin(tag->turn_rad);
    return tr_v2_add(tag->centre_mm, tr_v2(c * x - s * y, s * x + c * y));
}

double tr_tag_distance(const tr_tag *tag, tr_vec2 p_mm) {
    tr_vec2 d = tr_v2_sub(p_mm, tag->centre_mm);
    double c = cos(tag->turn_rad);
    double s = sin(tag->turn_rad);
    double beside_x = fabs(c * d.x + s * d.y) - tr_tag_width(tag) / 2;
    double beside_y = fabs(c * d.y - s * d.x) - tr_tag_height(tag) / 2;
    return hypot(fmax(beside_x, 0), fmax(beside_y, 0));
}

static bool is_on_face(const tr_sheet *sheet, tr_vec2 p_mm) {
    return fabs(p_mm.x) <= sheet->width_mm / 2 + EDGE_TOLERANCE_MM &&
           fabs(p_mm.y) <= sheet->height_mm / 2 + EDGE_TOLERANCE_MM;
}

static tr_vec2 read_point(tr_yaml y) {
    double p[2] = {0, 0};
    tr_yaml_numbers(y, p, 2, -MAX_SIZE_MM, MAX_SIZE_MM);
    return tr_v2(p[0], p[1]);
}

static tr_tag read_tag(tr_yaml y, int family_size) {
    tr_tag tag = {0};
    tr_yaml_keys(y, "id centre_mm size_mm turn_deg? edges_mm?");
    tag.line = tr_yaml_line(y);
    tag.id = tr_yaml_integer(tr_yaml_at(y, "id"), 0, family_size - 1);
    tag.centre_mm = read_point(tr_yaml_at(y, "centre_mm"));
    tag.size_mm = tr_yaml_size(tr_yaml_at(y, "size_mm"), MAX_SIZE_MM);
    tag.turn_rad = TR_RAD_PER_DEG * tr_yaml_number(tr_yaml_at(y, "turn_deg"), -360, 360);
    if (tr_yaml_has(tr_yaml_at(y, "edges_mm"))) {
        const double *e = tag.edges_mm;
        tr_yaml_sizes(tr_yaml_at(y, "edges_mm"), tag.edges_mm, 2, MAX_SIZE_MM);
        if (!(fabs((e[0] + e[1]) / 2 - tag.size_mm) <= SAME_SIZE_MM)) {
            tr_yaml_fail(tr_yaml_at(y, "edges_mm"),
                         "have a mean of %g mm, but size_mm is %g; correct one of them",
                         (e[0] + e[1]) / 2, tag.size_mm);
        }
    }
    return tag;
}

/* Tag i against the face and the tags before it. */
static void check_tag(tr_yaml y, const tr_sheet *sheet, int i) {
    const tr_tag *tag = &sheet->tags[i];
    for (int k = 0; k < 4; k++) {
        if (is_on_face(sheet, tr_tag_corner(tag, k))) continue;
        tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                     "and size_mm put the tag over the edge of the face; correct them or the "
                     "sheet's size_mm");
    }
    for (int j = 0; j < i; j++) {
        const tr_tag *other = &sheet->tags[j];
        if (tag->id == other->id) {
            tr_yaml_fail(tr_yaml_at(y, "id"),
                         "is %d, which line %d has already; each tag needs an id of its own",
                         tag->id, other->line);
        }
        /* The circles inside both squares meet, whichever way these are turned. */
        double distance_mm = tr_v2_norm(tr_v2_sub(tag->centre_mm, other->centre_mm));
        if (distance_mm < (tag->size_mm + other->size_mm) / 2 - EDGE_TOLERANCE_MM) {
            tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                         "puts the tag over the one of line %d; correct the places or sizes",
                         other->line);
        }
    }
}

static void read_tags(tr_yaml y, int fewest, tr_sheet *sheet) {
    int family_size = tr_tag_family_size(sheet->tag_family);
    int most = family_size < MAX_TAGS ? family_size : MAX_TAGS;
    sheet->tags = tr_yaml_array(y, fewest, most, sizeof *sheet->tags, &sheet->n_tags);
    for (int i = 0; i < sheet->n_tags && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        sheet->tags[i] = read_tag(item, family_size);
        check_tag(item, sheet, i);
    }
}

static void read_corners(tr_yaml y, tr_sheet *sheet) {
    sheet->corners_mm =
        tr_yaml_array(y, 0, MAX_CORNERS, sizeof *sheet->corners_mm, &sheet->n_corners);
    for (int i = 0; i < sheet->n_corners && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_vec2 corner_mm = read_point(item);
        if (!is_on_face(sheet, corner_mm)) {
            tr_yaml_fail(item, "lies outside the face; correct it or the sheet's size_mm");
        }
        for (int j = 0; j < i; j++) {
            if (tr_v2_norm(tr_v2_sub(corner_mm, sheet->corners_mm[j])) >= SAME_CORNER_MM) continue;
            tr_yaml_fail(item, "is the same as corners_mm[%d]; leave one out", j);
        }
        sheet->corners_mm[i] = corner_mm;
    }
}

static void read_tip(tr_yaml y, tr_sheet *sheet) {
    if (!tr_yaml_has(y)) return;
    sheet->has_tip = true;
    sheet->tip_mm = read_point(y);
    if (sheet->kind != TR_SHEET_PLATE) {
        tr_yaml_fail(y, "is for a plate; leave it out, or make the sheet's kind plate");
    } else if (!is_on_face(sheet, sheet->tip_mm)) {
        tr_yaml_fail(y, "lies outside the face; correct it or the sheet's size_mm");
    }
}

/* Disc i against the face, the tags, the corners and the discs before it. */
static void check_disc(tr_yaml y, const tr_sheet *sheet, int i) {
    const tr_disc *disc = &sheet->discs[i];
    tr_vec2 c = disc->centre_mm;
    double radius_mm = disc->diameter_mm / 2;
    for (int k = 0; k < 4; k++) {
        double sign = k < 2 ? -1 : 1;
        tr_vec2 p = k % 2 ? tr_v2(c.x + sign * radius_mm, c.y) : tr_v2(c.x, c.y + sign * radius_mm);
        if (is_on_face(sheet, p)) continue;
        tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                     "and diameter_mm put the disc over the edge of the face; correct them or the "
                     "sheet's size_mm");
    }
    for (int j = 0; j < sheet->n_tags; j++) {
        if (tr_tag_distance(&sheet->tags[j], c) >= radius_mm - EDGE_TOLERANCE_MM) continue;
        tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                     "puts the disc over the tag of line %d; correct the places or sizes",
                     sheet->tags[j].line);
    }
    for (int j = 0; j < sheet->n_corners; j++) {
        double apart_mm = tr_v2_norm(tr_v2_sub(c, sheet->corners_mm[j]));
        if (apart_mm >= radius_mm - EDGE_TOLERANCE_MM) continue;
        tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                     "puts the disc over corners_mm[%d]; correct the places or the size", j);
    }
    for (int j = 0; j < i; j++) {
        const tr_disc *other = &sheet->discs[j];
        double apart_mm = tr_v2_norm(tr_v2_sub(c, other->centre_mm));
        if (apart_mm >= radius_mm + other->diameter_mm / 2 - EDGE_TOLERANCE_MM) continue;
        tr_yaml_fail(tr_yaml_at(y, "centre_mm"),
                     "puts the disc over the one of line %d; correct the places or sizes",
                     other->line);
    }
}

static void read_discs(tr_yaml y, tr_sheet *sheet) {
    sheet->discs = tr_yaml_array(y, 0, MAX_DISCS, sizeof *sheet->discs, &sheet->n_discs);
    for (int i = 0; i < sheet->n_discs && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_yaml_keys(item, "centre_mm diameter_mm colour?");
        tr_disc *disc = &sheet->discs[i];
        disc->line = tr_yaml_line(item);
        disc->centre_mm = read_point(tr_yaml_at(item, "centre_mm"));
        disc->diameter_mm = tr_yaml_size(tr_yaml_at(item, "diameter_mm"), MAX_SIZE_MM);
        tr_yaml colour = tr_yaml_at(item, "colour");
        disc->is_white = tr_yaml_has(colour) && tr_yaml_choice(colour, COLOURS, N_COLOURS) == 1;
        check_disc(item, sheet, i);
    }
}

static tr_vec3 read_place(tr_yaml y) {
    double p[3] = {0, 0, 0};
    int n = tr_yaml_count(y);
    if (tr_yaml_has(y) && n != 2 && n != 3) {
        tr_yaml_fail(y, "is a list of %d; give [x, y] of a place on the face, or [x, y, z]", n);
    }
    tr_yaml_numbers(y, p, n == 2 ? 2 : 3, -MAX_SIZE_MM, MAX_SIZE_MM);
    return tr_v3(p[0], p[1], p[2]);
}

static void read_points(tr_yaml y, tr_sheet *sheet) {
    sheet->points = tr_yaml_array(y, 0, MAX_POINTS, sizeof *sheet->points, &sheet->n_points);
    for (int i = 0; i < sheet->n_points && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_sheet_point *point = &sheet->points[i];
        tr_yaml_keys(item, "name at_mm");
        point->line = tr_yaml_line(item);
        tr_yaml_text(tr_yaml_at(item, "name"), point->name, sizeof point->name);
        point->at_mm = read_place(tr_yaml_at(item, "at_mm"));
        int same = tr_sheet_find_point(sheet, point->name);
        if (tr_yaml_has(y) && same < i) {
            tr_yaml_fail(tr_yaml_at(item, "name"), "is %s, which line %d has already", point->name,
                         sheet->points[same].line);
        }
    }
}

/* Unit of a row of the file's covariance in the one used here. */
static double row_unit(const tr_sheet *sheet, int row) {
    bool is_turn = row < TR_TAG_N * sheet->n_tags && row % TR_TAG_N == TR_TAG_TURN;
    return is_turn ? TR_RAD_PER_DEG : 1;
}

static void check_covariance(tr_yaml y, const tr_sheet_survey *survey) {
    switch (tr_covariance_check(survey->covariance, survey->n_rows, MAX_VARIANCE)) {
    case TR_COVARIANCE_OK:
    case TR_COVARIANCE_ASYMMETRIC: return; /* it cannot be */
    case TR_COVARIANCE_VARIANCE:
        tr_yaml_fail(y, "has a variance below 0 or far too large; survey the sheet again");
        return;
    case TR_COVARIANCE_ALONE:
        tr_yaml_fail(y, "has a covariance where a variance is 0; survey the sheet again");
        return;
    case TR_COVARIANCE_INDEFINITE:
        tr_yaml_fail(y, "is not positive semi-definite; survey the sheet again");
        return;
    case TR_COVARIANCE_NO_MEMORY: tr_yaml_fail_memory(y); return;
    }
}

static void read_covariance(tr_yaml y, tr_sheet *sheet) {
    tr_sheet_survey *survey = &sheet->survey;
    double row[TR_SHEET_MAX_ROWS];
    int n = TR_TAG_N * sheet->n_tags + TR_CORNER_N * sheet->n_corners;
    int given = tr_yaml_count(y);
    if (!tr_yaml_has(y)) return;
    if (n > TR_SHEET_MAX_ROWS) {
        tr_yaml_fail(y, "would have %d rows for these tags and corners; at most %d are taken", n,
                     TR_SHEET_MAX_ROWS);
        return;
    }
    if (given != n) {
        tr_yaml_fail(y, "has %d rows; these tags and corners make %d (5 a tag, 2 a corner)", given,
                     n);
        return;
    }
    survey->covariance = calloc((size_t)(n * n) + 1, sizeof *survey->covariance);
    if (!survey->covariance) {
        tr_yaml_fail_memory(y);
        return;
    }
    survey->n_rows = n;
    for (int i = 0; i < n && tr_yaml_has(y); i++) {
        tr_yaml_numbers(tr_yaml_item(y, i), row, i + 1, -MAX_VARIANCE, MAX_VARIANCE);
        for (int j = 0; j <= i; j++) {
            double c = row[j] * row_unit(sheet, i) * row_unit(sheet, j);
            survey->covariance[i * n + j] = survey->covariance[j * n + i] = c;
        }
    }
    if (tr_yaml_has(y)) check_covariance(y, survey);
}

static void read_survey(tr_yaml y, tr_sheet *sheet) {
    tr_sheet_survey *survey = &sheet->survey;
    if (!tr_yaml_has(y)) return;
    if (sheet->n_discs > 0) {
        tr_yaml_fail(y, "stands beside discs, which no survey measures; leave the survey or the "
                        "discs out");
        return;
    }
    tr_yaml_keys(y, "name lengths scale_sd covariance");
    tr_yaml_text(tr_yaml_at(y, "name"), survey->id, sizeof survey->id);
    tr_yaml lengths = tr_yaml_at(y, "lengths");
    survey->n_lengths = tr_yaml_count(lengths);
    if (survey->n_lengths < 1 || survey->n_lengths > TR_SHEET_MAX_LENGTHS) {
        tr_yaml_fail(lengths, "is a list of %d; give 1 to %d", survey->n_lengths,
                     TR_SHEET_MAX_LENGTHS);
        return;
    }
    for (int i = 0; i < survey->n_lengths; i++) {
        tr_yaml_text(tr_yaml_item(lengths, i), survey->lengths[i], sizeof survey->lengths[i]);
    }
    survey->scale_sd = tr_yaml_number(tr_yaml_at(y, "scale_sd"), 0, 1);
    read_covariance(tr_yaml_at(y, "covariance"), sheet);
}

static bool read_sheet(const char *path, int fewest_tags, bool needs_family, tr_sheet *out,
                       tr_error *err) {
    tr_sheet sheet = {0};
    double size_mm[2] = {0, 0};
    *out = sheet;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, needs_family ? "sheet title label? kind size_mm tag_family tags corners_mm? "
                                   "discs? tip_mm? points? survey?"
                                 : "sheet title label? kind size_mm tag_family? tags? corners_mm? "
                                   "discs? tip_mm? points? survey?");
    tr_yaml_text(tr_yaml_at(y, "sheet"), sheet.id, sizeof sheet.id);
    tr_yaml_text(tr_yaml_at(y, "title"), sheet.title, sizeof sheet.title);
    tr_yaml_text(tr_yaml_at(y, "label"), sheet.label, sizeof sheet.label);
    sheet.kind = (tr_sheet_kind)tr_yaml_choice(tr_yaml_at(y, "kind"), KINDS, N_KINDS);
    sheet.support = tr_sheet_usual_support(sheet.kind);
    tr_yaml_sizes(tr_yaml_at(y, "size_mm"), size_mm, 2, MAX_SIZE_MM);
    sheet.width_mm = size_mm[0];
    sheet.height_mm = size_mm[1];
    tr_yaml family = tr_yaml_at(y, "tag_family");
    tr_yaml tags = tr_yaml_at(y, "tags");
    tr_yaml_text(family, sheet.tag_family, sizeof sheet.tag_family);
    if (tr_yaml_has(family) && tr_tag_family_size(sheet.tag_family) == 0) {
        tr_yaml_fail(family, "is %s, which is not known here; tag36h11 is the usual one",
                     sheet.tag_family);
    }
    if (tr_yaml_has(tags) && tr_yaml_count(tags) > 0 && !tr_yaml_has(family))
        tr_yaml_fail(tags, "are listed without their family; add 'tag_family'");
    if (tr_yaml_has(tags)) read_tags(tags, fewest_tags, &sheet);
    read_corners(tr_yaml_at(y, "corners_mm"), &sheet);
    read_discs(tr_yaml_at(y, "discs"), &sheet);
    read_tip(tr_yaml_at(y, "tip_mm"), &sheet);
    read_points(tr_yaml_at(y, "points"), &sheet);
    read_survey(tr_yaml_at(y, "survey"), &sheet);
    sheet.path = tr_path_beside("", path);
    if (!sheet.path) tr_yaml_fail_memory(y);
    if (!tr_yaml_close(y, err)) {
        tr_sheet_release(&sheet);
        return false;
    }
    *out = sheet;
    return true;
}

bool tr_sheet_read(const char *path, tr_sheet *out, tr_error *err) {
    return read_sheet(path, 1, true, out, err);
}

bool tr_sheet_read_bare(const char *path, tr_sheet *out, tr_error *err) {
    return read_sheet(path, 0, true, out, err);
}

bool tr_sheet_read_any(const char *path, tr_sheet *out, tr_error *err) {
    return read_sheet(path, 0, false, out, err);
}

bool tr_sheet_of_tag(const char *family, int id, double size_mm, int line, tr_sheet *out) {
    *out = (tr_sheet){.kind = TR_SHEET_TAG,
                      .support = TR_ON_VEHICLE,
                      .width_mm = size_mm,
                      .height_mm = size_mm,
                      .n_tags = 1};
    snprintf(out->id, sizeof out->id, "TAG-%d", id);
    snprintf(out->title, sizeof out->title, "Tag %d, %g mm", id, size_mm);
    snprintf(out->tag_family, sizeof out->tag_family, "%s", family);
    out->tags = id < tr_tag_family_size(family) ? calloc(1, sizeof *out->tags) : NULL;
    if (!out->tags) {
        *out = (tr_sheet){0};
        return false;
    }
    out->tags[0] = (tr_tag){.id = id, .size_mm = size_mm, .line = line};
    return true;
}

int tr_sheet_find_point(const tr_sheet *sheet, const char *name) {
    for (int i = 0; i < sheet->n_points; i++) {
        if (strcmp(sheet->points[i].name, name) == 0) return i;
    }
    return -1;
}

int tr_sheet_find(const tr_sheet *sheets, int n, const char *id) {
    for (int i = 0; i < n; i++) {
        if (strcmp(sheets[i].id, id) == 0) return i;
    }
    return -1;
}

void tr_sheet_release(tr_sheet *sheet) {
    free(sheet->path);
    free(sheet->survey.covariance);
    free(sheet->tags);
    free(sheet->corners_mm);
    free(sheet->discs);
    free(sheet->points);
    *sheet = (tr_sheet){0};
}

bool tr_sheet_is_exact(const tr_sheet *sheet) {
    const tr_sheet_survey *survey = &sheet->survey;
    for (int i = 0; i < survey->n_rows; i++) {
        if (!(survey->covariance[(long)i * survey->n_rows + i] > 0)) return true;
    }
    return false;
}

bool tr_sheet_has_tag(const tr_sheet *sheet, const char *family, int id) {
    if (strcmp(sheet->tag_family, family) != 0) return false;
    for (int i = 0; i < sheet->n_tags; i++) {
        if (sheet->tags[i].id == id) return true;
    }
    return false;
}
