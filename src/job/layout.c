#include "job/layout.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/yaml.h"
#include "job/read.h"

/* Nothing is placed farther away than this: it is the size of a workshop. mm */
#define MAX_MM 100000.0

/* A vehicle that runs farther askew is no vehicle. */
#define MAX_THRUST_LIMIT_DEG 10.0

/* What slopes more is a ramp, not a floor to measure on. */
#define MAX_FLOOR_LIMIT_DEG 45.0

#define DEFAULT_TOLERANCE_MM 15.0
#define DEFAULT_FLATNESS_MM 5.0

/* Where a sheet is sought that has no tags: the time that it takes grows with each of them. */
#define MAX_WITHIN_MM 500.0
#define MAX_WITHIN_DEG 15.0
#define DEFAULT_WITHIN_DEG 3.0

enum { MAX_PLACEMENTS = 64 };

/* In the order of tr_axis. */
static const char *const AXIS_KEYS[TR_N_AXES] = {"x_mm",    "y_mm",      "z_mm",
                                                 "yaw_deg", "pitch_deg", "roll_deg"};
/* In the order of tr_floor_limit. */
static const char *const FLOOR_KEYS[TR_N_FLOOR_LIMITS] = {"slope_deg", "tilt_deg", "level_deg",
                                                          "out_of_flat_mm"};
/* In the order of tr_axes and tr_origin. */
static const char *const AXES[] = {"centreline", "rear-axle", "thrust"};
static const char *const ORIGINS[] = {"rear-axle", "front-axle"};
enum { N_AXLES = 2 };

const char *tr_origin_name(const tr_origin *origin) {
    bool is_axle = origin->kind == TR_FROM_REAR_AXLE || origin->kind == TR_FROM_FRONT_AXLE;
    return is_axle ? ORIGINS[origin->kind] : origin->name;
}

bool tr_origin_is(const tr_origin *a, const tr_origin *b) {
    return a->kind == b->kind && strcmp(tr_origin_name(a), tr_origin_name(b)) == 0;
}

const char *tr_axis_key(tr_axis axis) {
    return AXIS_KEYS[axis];
}

bool tr_axis_is_angle(tr_axis axis) {
    return axis >= TR_YAW;
}

const char *tr_floor_limit_key(tr_floor_limit limit) {
    return FLOOR_KEYS[limit];
}

bool tr_floor_limit_is_angle(tr_floor_limit limit) {
    return limit != TR_LIMIT_OUT_OF_FLAT;
}

static tr_requirement read_requirement(tr_yaml required, tr_yaml limit, tr_axis axis) {
    tr_requirement r = {tr_yaml_has(required), tr_yaml_has(limit), 0, 0};
    double unit = tr_axis_is_angle(axis) ? TR_RAD_PER_DEG : 1;
    double largest = tr_axis_is_angle(axis) ? 360 : MAX_MM;
    r.required = unit * tr_yaml_number(required, -largest, largest);
    r.limit = unit * tr_yaml_size(limit, largest);
    if (r.is_judged && !r.is_required) {
        tr_yaml_fail(limit,
                     "limits an axis for which no value is required; add '%s' beside 'limits'",
                     AXIS_KEYS[axis]);
    }
    return r;
}

/* Any other name than an axle's is for the job to find. */
static tr_origin read_origin(tr_yaml y) {
    tr_origin origin = {TR_FROM_REAR_AXLE, "", 0};
    tr_yaml_text(y, origin.name, sizeof origin.name);
    for (int i = 0; i < N_AXLES; i++) {
        if (strcmp(origin.name, ORIGINS[i]) == 0) return (tr_origin){(tr_origin_kind)i, "", 0};
    }
    if (tr_yaml_has(y)) origin.kind = TR_FROM_POINT;
    return origin;
}

void tr_read_origins(tr_yaml y, bool has_z, tr_origin from[3]) {
    if (!tr_yaml_is_mapping(y)) {
        from[0] = from[1] = read_origin(y);
        return;
    }
    static const char *const KEYS[3] = {"x", "y", "z"};
    tr_yaml_keys(y, has_z ? "x y z?" : "x y");
    for (int k = 0; k < (has_z ? 3 : 2); k++) from[k] = read_origin(tr_yaml_at(y, KEYS[k]));
}

/* The six keys of axes, and those of the limits. */
static void read_axes(tr_yaml y, tr_requirement axis[TR_N_AXES], int limit_line[TR_N_AXES]) {
    tr_yaml limits = tr_yaml_at(y, "limits");
    tr_yaml_keys(limits, "x_mm? y_mm? z_mm? yaw_deg? pitch_deg? roll_deg?");
    for (tr_axis k = 0; k < TR_N_AXES; k++) {
        const char *key = AXIS_KEYS[k];
        axis[k] = read_requirement(tr_yaml_at(y, key), tr_yaml_at(limits, key), k);
        if (limit_line) limit_line[k] = tr_yaml_line(tr_yaml_at(limits, key));
    }
}

static void read_reach(tr_yaml y, tr_placement *placement) {
    tr_yaml within = tr_yaml_at(y, "within_mm");
    tr_yaml turned = tr_yaml_at(y, "within_deg");
    placement->within_line = tr_yaml_line(within);
    placement->within_mm = tr_yaml_size(within, MAX_WITHIN_MM);
    placement->within_rad =
        TR_RAD_PER_DEG *
        (tr_yaml_has(turned) ? tr_yaml_size(turned, MAX_WITHIN_DEG) : DEFAULT_WITHIN_DEG);
    if (tr_yaml_has(turned) && !tr_yaml_has(within)) {
        tr_yaml_fail(turned, "goes with 'within_mm', which is not there; add it");
    }
}

static tr_placement read_placement(tr_yaml y) {
    tr_placement placement = {0};
    tr_yaml_keys(y, "sheet from x_mm y_mm z_mm? yaw_deg pitch_deg? roll_deg? limits within_mm? "
                    "within_deg?");
    placement.line = tr_yaml_line(tr_yaml_at(y, "sheet"));
    tr_yaml_text(tr_yaml_at(y, "sheet"), placement.sheet, sizeof placement.sheet);
    placement.from_line = tr_yaml_line(tr_yaml_at(y, "from"));
    tr_read_origins(tr_yaml_at(y, "from"), true, placement.from);
    read_reach(y, &placement);
    read_axes(y, placement.axis, placement.limit_line);
    return placement;
}

static void read_placements(tr_yaml y, tr_layout *layout) {
    layout->placements =
        tr_yaml_array(y, 1, MAX_PLACEMENTS, sizeof *layout->placements, &layout->n_placements);
    for (int i = 0; i < layout->n_placements && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        tr_placement placement = read_placement(item);
        for (int j = 0; j < i; j++) {
            if (strcmp(placement.sheet, layout->placements[j].sheet) != 0) continue;
            tr_yaml_fail(tr_yaml_at(item, "sheet"),
                         "places %s, which line %d places already; leave one out", placement.sheet,
                         layout->placements[j].line);
        }
        layout->placements[i] = placement;
    }
}

static bool is_placed(const tr_layout *layout, const char *sheet) {
    for (int i = 0; i < layout->n_placements; i++) {
        if (strcmp(layout->placements[i].sheet, sheet) == 0) return true;
    }
    return false;
}

static tr_relation read_relation(tr_yaml y, const tr_layout *layout) {
    tr_relation relation = {.line = tr_yaml_line(y)};
    tr_yaml_keys(y, "sheets x_mm? y_mm? z_mm? yaw_deg? pitch_deg? roll_deg? limits");
    tr_yaml sheets = tr_yaml_at(y, "sheets");
    if (tr_yaml_has(sheets) && tr_yaml_count(sheets) != 2) {
        tr_yaml_fail(sheets, "is a list of %d; give the ids of two sheets", tr_yaml_count(sheets));
    }
    for (int k = 0; k < 2; k++) {
        tr_yaml item = tr_yaml_item(sheets, k);
        tr_yaml_text(item, relation.sheets[k], sizeof relation.sheets[k]);
        if (tr_yaml_has(item) && !is_placed(layout, relation.sheets[k])) {
            tr_yaml_fail(item, "is %s, which 'placements' does not place; add it there",
                         relation.sheets[k]);
        }
    }
    if (tr_yaml_has(y) && strcmp(relation.sheets[0], relation.sheets[1]) == 0) {
        tr_yaml_fail(sheets, "are the same sheet twice; give two");
    }
    read_axes(y, relation.axis, NULL);
    return relation;
}

static void read_relations(tr_yaml y, tr_layout *layout) {
    layout->relations =
        tr_yaml_array(y, 0, MAX_PLACEMENTS, sizeof *layout->relations, &layout->n_relations);
    for (int i = 0; i < layout->n_relations && tr_yaml_has(y); i++) {
        layout->relations[i] = read_relation(tr_yaml_item(y, i), layout);
    }
}

static void read_floor(tr_yaml y, double limit[TR_N_FLOOR_LIMITS]) {
    tr_yaml limits = tr_yaml_at(y, "limits");
    tr_yaml_keys(y, "limits");
    tr_yaml_keys(limits, "slope_deg? tilt_deg? level_deg? out_of_flat_mm?");
    for (tr_floor_limit k = 0; k < TR_N_FLOOR_LIMITS; k++) {
        bool is_angle = tr_floor_limit_is_angle(k);
        limit[k] =
            (is_angle ? TR_RAD_PER_DEG : 1) * tr_yaml_size(tr_yaml_at(limits, FLOOR_KEYS[k]),
                                                           is_angle ? MAX_FLOOR_LIMIT_DEG : MAX_MM);
    }
}

bool tr_layout_read(const char *path, tr_layout *out, tr_error *err) {
    tr_layout layout = {0};
    *out = layout;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "layout vehicle axes wheelbase_mm? track_front_mm? track_rear_mm? "
                    "reference_tolerance_mm? thrust_limit_deg? flatness_mm? floor? placements "
                    "between? free_areas? preconditions? references?");
    tr_yaml_text(tr_yaml_at(y, "layout"), layout.id, sizeof layout.id);
    tr_yaml_text(tr_yaml_at(y, "vehicle"), layout.vehicle, sizeof layout.vehicle);
    layout.axes = (tr_axes)tr_yaml_choice(tr_yaml_at(y, "axes"), AXES, 3);
    layout.wheelbase_mm = tr_yaml_size(tr_yaml_at(y, "wheelbase_mm"), MAX_MM);
    layout.track_front_mm = tr_yaml_size(tr_yaml_at(y, "track_front_mm"), MAX_MM);
    layout.track_rear_mm = tr_yaml_size(tr_yaml_at(y, "track_rear_mm"), MAX_MM);
    tr_yaml tolerance = tr_yaml_at(y, "reference_tolerance_mm");
    layout.reference_tolerance_mm =
        tr_yaml_has(tolerance) ? tr_yaml_size(tolerance, MAX_MM) : DEFAULT_TOLERANCE_MM;
    layout.thrust_limit_rad =
        TR_RAD_PER_DEG * tr_yaml_size(tr_yaml_at(y, "thrust_limit_deg"), MAX_THRUST_LIMIT_DEG);
    tr_yaml flatness = tr_yaml_at(y, "flatness_mm");
    layout.flatness_mm =
        tr_yaml_has(flatness) ? tr_yaml_size(flatness, MAX_MM) : DEFAULT_FLATNESS_MM;
    read_floor(tr_yaml_at(y, "floor"), layout.floor_limit);
    read_placements(tr_yaml_at(y, "placements"), &layout);
    read_relations(tr_yaml_at(y, "between"), &layout);
    tr_free_areas_read(tr_yaml_at(y, "free_areas"), &layout);
    layout.preconditions =
        tr_read_preconditions(tr_yaml_at(y, "preconditions"), &layout.n_preconditions);
    layout.references = tr_read_usual_references(tr_yaml_at(y, "references"), &layout.n_references);
    layout.path = tr_path_beside("", path);
    if (!layout.path) tr_yaml_fail_memory(y);
    if (!tr_yaml_close(y, err)) {
        tr_layout_release(&layout);
        return false;
    }
    *out = layout;
    return true;
}

void tr_layout_release(tr_layout *layout) {
    free(layout->path);
    free(layout->placements);
    free(layout->relations);
    free(layout->preconditions);
    free(layout->references);
    tr_free_areas_release(layout);
    *layout = (tr_layout){0};
}
