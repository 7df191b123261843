/* Any file as a layout. */
#include "fuzz.h"

#include <string.h>

#include "job/layout.h"

static void check_layout(const tr_layout *layout) {
    FUZZ_CHECK(layout->path && layout->id[0] && layout->n_placements >= 1);
    FUZZ_CHECK(layout->reference_tolerance_mm > 0);
    for (int i = 0; i < layout->n_placements; i++) {
        const tr_placement *placement = &layout->placements[i];
        FUZZ_CHECK(placement->sheet[0] && placement->line > 0);
        for (int k = 0; k < TR_N_AXES; k++) {
            const tr_requirement *r = &placement->axis[k];
            FUZZ_CHECK(isfinite(r->required) && isfinite(r->limit));
            FUZZ_CHECK(!r->is_judged || (r->is_required && r->limit > 0));
        }
        FUZZ_CHECK(placement->axis[TR_X].is_required && placement->axis[TR_Y].is_required);
        FUZZ_CHECK(placement->axis[TR_YAW].is_required);
    }
    for (int i = 0; i < layout->n_relations; i++) {
        const tr_relation *r = &layout->relations[i];
        FUZZ_CHECK(strcmp(r->sheets[0], r->sheets[1]) != 0);
        for (int k = 0; k < TR_N_AXES; k++)
            FUZZ_CHECK(!r->axis[k].is_judged || (r->axis[k].is_required && r->axis[k].limit > 0));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char path[FUZZ_PATH_SIZE];
    tr_layout layout;
    tr_error err = {0};
    fuzz_file_open(0, data, size, path);
    bool ok = tr_layout_read(path, &layout, &err);
    fuzz_check_error(ok, &err);
    if (ok)
        check_layout(&layout);
    else
        FUZZ_CHECK(!layout.path && !layout.placements && !layout.relations);
    tr_layout_release(&layout);
    fuzz_file_close(0);
    return 0;
}
