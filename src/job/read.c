#include "job/read.h"

#include <stdlib.h>
#include <string.h>

#include "job/job.h"
#include "lens/profile.h"

void tr_read_lens(tr_yaml y, tr_lens *lens) {
    tr_error cause = {0};
    char *path = tr_yaml_path(y);
    if (path && !tr_lens_profile_read(path, lens, &cause)) tr_yaml_fail_inside(y, &cause);
    free(path);
}

char **tr_read_photos(tr_yaml y, int *n) {
    char **photos = tr_yaml_array(y, 0, TR_MAX_PHOTOS, sizeof *photos, n);
    for (int i = 0; i < *n && tr_yaml_has(y); i++) {
        tr_yaml item = tr_yaml_item(y, i);
        photos[i] = tr_yaml_path(item);
        for (int j = 0; j < i && tr_yaml_has(y); j++) {
            /* The same photo twice would count its marks as independent measurements. */
            if (strcmp(photos[i], photos[j]) == 0) {
                tr_yaml_fail(item, "is the same photo as photos[%d]; leave one out", j);
            }
        }
    }
    return photos;
}

int tr_read_sheet_name(tr_yaml y, const tr_sheet *sheets, int n) {
    char id[sizeof sheets->id] = "";
    tr_yaml_text(y, id, sizeof id);
    int sheet = tr_sheet_find(sheets, n, id);
    if (sheet < 0) {
        tr_yaml_fail(
            y, "is %s, which no file in 'sheets' defines; add its file there, or correct it", id);
    }
    return sheet < 0 ? 0 : sheet;
}
