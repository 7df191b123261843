#include "job/usual.h"

#include <limits.h>
#include <string.h>

#include "job/job.h"

/* As in a job. mm */
#define MAX_MM 100000.0
#define MAX_STANDOFF_MM 1000.0

static tr_usual_reference read_usual(tr_yaml y) {
    static const char *const SUPPORTS[] = {"floor", "vehicle"};
    tr_usual_reference r = {.tag = -1};
    tr_yaml_keys(y, "point sheet? tag? size_mm? at_mm? on? standoff_mm?");
    tr_yaml tag = tr_yaml_at(y, "tag");
    tr_yaml at = tr_yaml_at(y, "at_mm");
    tr_yaml on = tr_yaml_at(y, "on");
    tr_yaml standoff = tr_yaml_at(y, "standoff_mm");
    double at_mm[2] = {0, 0};
    if (tr_yaml_has(tag) == tr_yaml_has(tr_yaml_at(y, "sheet"))) {
        tr_yaml_fail(y, "needs either 'sheet', or 'tag' and 'size_mm' of a lone tag");
    }
    if (tr_yaml_has(tag) != tr_yaml_has(tr_yaml_at(y, "size_mm"))) {
        tr_yaml_fail(y, "needs 'tag' and 'size_mm' together, or neither");
    }
    tr_yaml_text(tr_yaml_at(y, "point"), r.point, sizeof r.point);
    tr_yaml_text(tr_yaml_at(y, "sheet"), r.sheet, sizeof r.sheet);
    if (tr_yaml_has(tag)) r.tag = tr_yaml_integer(tag, 0, INT_MAX);
    r.size_mm = tr_yaml_size(tr_yaml_at(y, "size_mm"), MAX_MM);
    r.has_at = tr_yaml_has(at);
    tr_yaml_numbers(at, at_mm, 2, -MAX_MM, MAX_MM);
    r.at_mm = tr_v2(at_mm[0], at_mm[1]);
    r.has_standoff = tr_yaml_has(standoff);
    r.standoff_mm = tr_yaml_number(standoff, -MAX_STANDOFF_MM, MAX_STANDOFF_MM);
    if (tr_yaml_has(on)) {
        const char *word = SUPPORTS[tr_yaml_choice(on, SUPPORTS, 2)];
        memcpy(r.on, word, strlen(word) + 1);
    }
    return r;
}

tr_usual_reference *tr_read_usual_references(tr_yaml y, int *n) {
    tr_usual_reference *all = tr_yaml_array(y, 0, TR_MAX_REFERENCES, sizeof *all, n);
    for (int i = 0; i < *n && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        all[i] = read_usual(item);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            if (strcmp(all[i].point, all[j].point) != 0) continue;
            tr_yaml_fail(tr_yaml_at(item, "point"),
                         "is %s, which references[%d] marks already; leave one out", all[i].point,
                         j);
        }
    }
    return all;
}
