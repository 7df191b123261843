/* Any file as a sheet file. */
#include "fuzz.h"

#include <string.h>

#include "sheet/sheet.h"
#include "tags/names.h"

static bool is_on_face(const tr_sheet *sheet, tr_vec2 p) {
    return fabs(p.x) <= sheet->width_mm / 2 + 1e-3 && fabs(p.y) <= sheet->height_mm / 2 + 1e-3;
}

static void check_sheet(const tr_sheet *sheet) {
    FUZZ_CHECK(sheet->path && sheet->id[0] && sheet->title[0]);
    FUZZ_CHECK(sheet->width_mm > 0 && sheet->height_mm > 0);
    FUZZ_CHECK(sheet->n_tags >= 1);
    for (int i = 0; i < sheet->n_tags; i++) {
        FUZZ_CHECK(sheet->tags[i].id >= 0);
        FUZZ_CHECK(sheet->tags[i].id < tr_tag_family_size(sheet->tag_family));
        for (int k = 0; k < 4; k++)
            FUZZ_CHECK(is_on_face(sheet, tr_tag_corner(&sheet->tags[i], k)));
    }
    for (int i = 0; i < sheet->n_corners; i++) FUZZ_CHECK(is_on_face(sheet, sheet->corners_mm[i]));
    for (int i = 0; i < sheet->n_discs; i++) {
        FUZZ_CHECK(is_on_face(sheet, sheet->discs[i].centre_mm));
        FUZZ_CHECK(sheet->discs[i].diameter_mm > 0);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char path[FUZZ_PATH_SIZE];
    tr_sheet sheet;
    tr_error err = {0};
    fuzz_file_open(0, data, size, path);
    bool ok = tr_sheet_read(path, &sheet, &err);
    fuzz_check_error(ok, &err);
    if (ok)
        check_sheet(&sheet);
    else
        FUZZ_CHECK(!sheet.path && !sheet.tags && !sheet.corners_mm && !sheet.discs);
    tr_sheet_release(&sheet);
    fuzz_file_close(0);
    return 0;
}
