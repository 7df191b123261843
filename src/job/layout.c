#include "job/layout.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/yaml.h"

/* Nothing is placed farther away than this: it is the size of a workshop. mm */
#define MAX_MM 100000.0

#define DEFAULT_TOLERANCE_MM 15.0
#define DEFAULT_FLATNESS_MM 5.0

enum { MAX_PLACEMENTS = 64 };

/* In the order of tr_axis. */
static const char *const AXIS_KEYS[TR_N_AXES] = {"x_mm",    "y_mm",      "z_mm",
                                                 "yaw_deg", "pitch_deg", "roll_deg"};
/* In the order of tr_axes and tr_origin. */
static const char *const AXES[] = {"centreline", "rear-axle", "thrust"};
static const char *const ORIGINS[] = {"front-axle", "rear-axle"};

const char *tr_origin_name(tr_origin origin) {
    return ORIGINS[origin];
}

const char *tr_axis_key(tr_axis axis) {
    return AXIS_KEYS[axis];
}

bool tr_axis_is_angle(tr_axis axis) {
    return axis >= TR_YAW;
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

static tr_placement read_placement(tr_yaml y) {
    tr_placement placement = {0};
    tr_yaml_keys(y, "sheet from x_mm y_mm z_mm? yaw_deg pitch_deg? roll_deg? limits");
    placement.line = tr_yaml_line(tr_yaml_at(y, "sheet"));
    tr_yaml_text(tr_yaml_at(y, "sheet"), placement.sheet, sizeof placement.sheet);
    placement.from = (tr_origin)tr_yaml_choice(tr_yaml_at(y, "from"), ORIGINS, 2);
    tr_yaml limits = tr_yaml_at(y, "limits");
    tr_yaml_keys(limits, "x_mm? y_mm? z_mm? yaw_deg? pitch_deg? roll_deg?");
    for (tr_axis axis = 0; axis < TR_N_AXES; axis++) {
        const char *key = AXIS_KEYS[axis];
        placement.axis[axis] = read_requirement(tr_yaml_at(y, key), tr_yaml_at(limits, key), axis);
        placement.limit_line[axis] = tr_yaml_line(tr_yaml_at(limits, key));
    }
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

bool tr_layout_read(const char *path, tr_layout *out, tr_error *err) {
    tr_layout layout = {0};
    *out = layout;
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "layout vehicle axes wheelbase_mm? track_front_mm? track_rear_mm? "
                    "reference_tolerance_mm? flatness_mm? placements");
    tr_yaml_text(tr_yaml_at(y, "layout"), layout.id, sizeof layout.id);
    tr_yaml_text(tr_yaml_at(y, "vehicle"), layout.vehicle, sizeof layout.vehicle);
    layout.axes = (tr_axes)tr_yaml_choice(tr_yaml_at(y, "axes"), AXES, 3);
    layout.wheelbase_mm = tr_yaml_size(tr_yaml_at(y, "wheelbase_mm"), MAX_MM);
    layout.track_front_mm = tr_yaml_size(tr_yaml_at(y, "track_front_mm"), MAX_MM);
    layout.track_rear_mm = tr_yaml_size(tr_yaml_at(y, "track_rear_mm"), MAX_MM);
    tr_yaml tolerance = tr_yaml_at(y, "reference_tolerance_mm");
    layout.reference_tolerance_mm =
        tr_yaml_has(tolerance) ? tr_yaml_size(tolerance, MAX_MM) : DEFAULT_TOLERANCE_MM;
    tr_yaml flatness = tr_yaml_at(y, "flatness_mm");
    layout.flatness_mm =
        tr_yaml_has(flatness) ? tr_yaml_size(flatness, MAX_MM) : DEFAULT_FLATNESS_MM;
    read_placements(tr_yaml_at(y, "placements"), &layout);
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
    *layout = (tr_layout){0};
}
