#include "plan/stations.h"

#include <stdlib.h>

#include "base/yaml.h"

/* No workshop is larger. mm */
static const double MAX_MM = 100000;
static const double MAX_HEIGHT_MM = 10000;

static tr_station read_station(tr_yaml y, int n_positions) {
    tr_station s = {.position = n_positions - 1};
    double look_at[3] = {0, 0, 0};
    tr_pose ignored;
    tr_yaml_keys(y, "x_mm y_mm height_mm look_at_mm position?");
    s.at_mm.x = tr_yaml_number(tr_yaml_at(y, "x_mm"), -MAX_MM, MAX_MM);
    s.at_mm.y = tr_yaml_number(tr_yaml_at(y, "y_mm"), -MAX_MM, MAX_MM);
    s.at_mm.z = tr_yaml_size(tr_yaml_at(y, "height_mm"), MAX_HEIGHT_MM);
    tr_yaml_numbers(tr_yaml_at(y, "look_at_mm"), look_at, 3, -MAX_MM, MAX_MM);
    s.look_at_mm = tr_v3(look_at[0], look_at[1], look_at[2]);
    if (tr_yaml_has(tr_yaml_at(y, "position"))) {
        s.position = tr_yaml_integer(tr_yaml_at(y, "position"), 1, n_positions) - 1;
    }
    if (tr_yaml_has(y) && !tr_station_pose(&s, &ignored)) {
        tr_yaml_fail(tr_yaml_at(y, "look_at_mm"),
                     "is where the camera is, or straight above or below it; give a place that is "
                     "further aside");
    }
    return s;
}

bool tr_stations_read(const char *path, int n_positions, tr_station **out, int *n, tr_error *err) {
    tr_yaml y = tr_yaml_open(path);
    tr_yaml_keys(y, "stations");
    tr_yaml list = tr_yaml_at(y, "stations");
    *out = tr_yaml_array(list, 1, TR_MAX_STATIONS, sizeof **out, n);
    for (int i = 0; i < *n && tr_yaml_has(y); i++) {
        (*out)[i] = read_station(tr_yaml_item(list, i), n_positions);
    }
    if (tr_yaml_close(y, err)) return true;
    free(*out);
    *out = NULL;
    *n = 0;
    return false;
}
