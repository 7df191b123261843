#include "job/read.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "lens/profile.h"
#include "lens/unknown.h"

/* While it is read: the files of the profiles that are read already. */
typedef struct {
    tr_shots *out;
    char *paths[TR_MAX_LENSES];
} reader;

static void check_name(tr_yaml y, const tr_shots *shots, int lens) {
    for (int k = 0; k < lens && tr_yaml_has(y); k++) {
        if (strcmp(shots->lenses[k].id, shots->lenses[lens].id) != 0) continue;
        tr_yaml_fail(y,
                     "is a lens profile named '%s', as is another of this file; give each its own "
                     "name under 'lens' in the profile",
                     shots->lenses[lens].id);
    }
}

/* A profile that is not there may not have been made yet. */
static void fail_lens(tr_yaml y, const tr_error *cause) {
    if (cause->code == TR_NO_FILE && !tr_file_is_there(cause->file)) {
        tr_yaml_fail(y,
                     "names %s, which %s, make the profile with 'trammel lens', or write 'lens: "
                     "unknown'",
                     cause->file, cause->text);
    } else {
        tr_yaml_fail_inside(y, cause);
    }
}

/* y is the path of a lens profile: its index; read where it is the first time that it is named. */
static int read_lens(tr_yaml y, reader *r) {
    tr_error cause = {0};
    tr_shots *shots = r->out;
    if (tr_yaml_is_word(y, TR_LENS_UNKNOWN_ID)) {
        tr_yaml_fail(
            y,
            "is unknown, although other lenses are named; a job has one unknown lens for all its "
            "photos ('lens: unknown'), or a profile for each");
    }
    char *path = tr_yaml_path(y);
    for (int k = 0; k < shots->n_lenses && path; k++) {
        if (!r->paths[k] || strcmp(path, r->paths[k]) != 0) continue;
        free(path);
        return k;
    }
    if (shots->n_lenses == TR_MAX_LENSES) {
        tr_yaml_fail(y, "is one lens profile too many; a measurement takes at most %d",
                     TR_MAX_LENSES);
    }
    int lens = shots->n_lenses;
    if (!path || !tr_yaml_has(y)) {
        free(path);
        return 0;
    }
    r->paths[shots->n_lenses++] = path;
    if (!tr_lens_profile_read(path, &shots->lenses[lens], &cause)) fail_lens(y, &cause);
    check_name(y, shots, lens);
    return lens;
}

static void read_lenses(tr_yaml y, reader *r) {
    if (tr_yaml_is_word(y, TR_LENS_UNKNOWN_ID)) {
        /* Its size and camera are the photos'. */
        tr_lens_unknown(&(tr_camera){.name = ""}, 0, 0, &r->out->lenses[r->out->n_lenses++]);
        return;
    }
    if (!tr_yaml_is_list(y)) {
        (void)read_lens(y, r);
        return;
    }
    int n = tr_yaml_count(y);
    if (n < 1 || n > TR_MAX_LENSES) {
        tr_yaml_fail(y, "is a list of %d; give one lens profile, or up to %d", n, TR_MAX_LENSES);
    }
    for (int i = 0; i < n && tr_yaml_has(y); i++) {
        int lens = read_lens(tr_yaml_item(y, i), r);
        if (tr_yaml_has(y) && lens != i) {
            tr_yaml_fail(tr_yaml_item(y, i), "is the same profile as lens[%d]; leave one out",
                         lens);
        }
    }
}

static void read_photo(tr_yaml y, reader *r, int i) {
    tr_yaml file = y;
    r->out->photo_lens[i] = -1;
    if (tr_yaml_is_mapping(y)) {
        tr_yaml_keys(y, "file lens");
        file = tr_yaml_at(y, "file");
        tr_yaml lens = tr_yaml_at(y, "lens");
        if (r->out->n_lenses > 0 && r->out->lenses[0].is_unknown) {
            tr_yaml_fail(lens,
                         "is named for one photo, but the file says 'lens: unknown', which is "
                         "one camera's for all photos; leave either out");
        }
        r->out->photo_lens[i] = read_lens(lens, r);
    }
    r->out->photos[i] = tr_yaml_path(file);
}

/* Photo i of all; the same photo twice would count its marks as independent measurements. */
static void read_new_photo(tr_yaml y, reader *r, int i, int position) {
    tr_shots *shots = r->out;
    read_photo(y, r, i);
    shots->photo_position[i] = position;
    for (int j = 0; j < i && tr_yaml_has(y); j++) {
        if (strcmp(shots->photos[i], shots->photos[j]) != 0) continue;
        if (shots->n_positions > 1)
            tr_yaml_fail(y, "is a photo that is listed above already; leave one out");
        else
            tr_yaml_fail(y, "is the same photo as photos[%d]; leave one out", j);
    }
}

static bool make_room(tr_yaml y, tr_shots *shots, int n) {
    size_t size = (size_t)n + 1;
    shots->photos = calloc(size, sizeof *shots->photos);
    shots->photo_lens = calloc(size, sizeof *shots->photo_lens);
    shots->photo_position = calloc(size, sizeof *shots->photo_position);
    if (shots->photos && shots->photo_lens && shots->photo_position) {
        shots->n_photos = n;
        return true;
    }
    tr_yaml_fail_memory(y);
    return false;
}

static void read_photos(tr_yaml y, reader *r) {
    int n = tr_yaml_count(y);
    if (tr_yaml_has(y) && n > TR_MAX_PHOTOS) {
        tr_yaml_fail(y, "is a list of %d; give 0 to %d", n, TR_MAX_PHOTOS);
    }
    if (!tr_yaml_has(y) || n == 0 || !make_room(y, r->out, n)) return;
    for (int i = 0; i < n && tr_yaml_has(y); i++) read_new_photo(tr_yaml_item(y, i), r, i, 0);
}

/* Groups of photos, one a position, one after the other. */
static void read_positions(tr_yaml y, reader *r) {
    int n = 0;
    int n_positions = tr_yaml_count(y);
    if (tr_yaml_has(y) && (n_positions < 2 || n_positions > TR_MAX_POSITIONS)) {
        tr_yaml_fail(y,
                     "is a list of %d; give 2 to %d lists of photos, one for each place to which "
                     "the vehicle was rolled",
                     n_positions, TR_MAX_POSITIONS);
    }
    for (int p = 0; p < n_positions && tr_yaml_has(y); p++) {
        tr_yaml group = tr_yaml_item(y, p);
        int n_group = tr_yaml_count(group);
        if (tr_yaml_has(group) && n_group == 0) tr_yaml_fail(group, "lists no photos");
        n += n_group;
    }
    if (tr_yaml_has(y) && n > TR_MAX_PHOTOS) {
        tr_yaml_fail(y, "are %d photos; give at most %d", n, TR_MAX_PHOTOS);
    }
    if (!tr_yaml_has(y) || !make_room(y, r->out, n)) return;
    r->out->n_positions = n_positions;
    int i = 0;
    for (int p = 0; p < n_positions; p++) {
        tr_yaml group = tr_yaml_item(y, p);
        int n_group = tr_yaml_count(group);
        for (int k = 0; k < n_group && tr_yaml_has(y); k++) {
            read_new_photo(tr_yaml_item(group, k), r, i++, p);
        }
    }
}

void tr_read_shots(tr_yaml root, tr_shots *out) {
    reader r = {.out = out};
    *out = (tr_shots){.n_positions = 1};
    read_lenses(tr_yaml_at(root, "lens"), &r);
    int n_listed = out->n_lenses;
    tr_yaml photos = tr_yaml_at(root, "photos");
    tr_yaml positions = tr_yaml_at(root, "positions");
    if (tr_yaml_has(photos) && tr_yaml_has(positions)) {
        tr_yaml_fail(positions, "replaces 'photos'; leave one of them out");
    }
    if (tr_yaml_has(positions))
        read_positions(positions, &r);
    else
        read_photos(photos, &r);
    out->n_only_named = out->n_lenses - n_listed;
    for (int k = 0; k < out->n_lenses; k++) free(r.paths[k]);
}

void tr_read_sheet(tr_yaml y, bool (*read)(const char *path, tr_sheet *out, tr_error *err),
                   tr_sheet *sheets, int i) {
    tr_error cause = {0};
    char *path = tr_yaml_path(y);
    if (path && !read(path, &sheets[i], &cause)) tr_yaml_fail_inside(y, &cause);
    free(path);
    for (int j = 0; j < i && tr_yaml_has(y); j++) {
        if (strcmp(sheets[i].id, sheets[j].id) != 0) continue;
        tr_yaml_fail(y, "defines sheet %s, which %s already defines; leave one out", sheets[i].id,
                     sheets[j].path);
    }
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
