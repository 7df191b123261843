/* Any file as a lens profile; what was read, written and read again is the same bit by bit. */
#include "fuzz.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "lens/profile.h"

static void check_round_trip(const tr_lens *lens) {
    char folder[] = "/dev/shm/trammel-fuzz-XXXXXX";
    char path[64];
    tr_lens again;
    tr_error err = {0};
    FUZZ_CHECK(mkdtemp(folder) != NULL);
    snprintf(path, sizeof path, "%s/lens.yaml", folder);
    FUZZ_CHECK(tr_lens_profile_write(path, lens, &err));
    FUZZ_CHECK(tr_lens_profile_read(path, &again, &err));
    FUZZ_CHECK(strcmp(again.id, lens->id) == 0);
    FUZZ_CHECK(again.width_px == lens->width_px && again.height_px == lens->height_px);
    FUZZ_CHECK(memcmp(again.param, lens->param, sizeof lens->param) == 0);
    FUZZ_CHECK(again.has_covariance == lens->has_covariance);
    FUZZ_CHECK(memcmp(again.covariance, lens->covariance, sizeof lens->covariance) == 0);
    FUZZ_CHECK(memcmp(&again.camera, &lens->camera, sizeof lens->camera) == 0);
    unlink(path);
    FUZZ_CHECK(rmdir(folder) == 0);
}

/* The corners of the image have directions, which lead back to them. */
static void check_model(const tr_lens *lens) {
    for (int k = 0; k < 4; k++) {
        tr_vec2 uv = tr_v2(k % 2 * (lens->width_px - 1), k / 2 * (lens->height_px - 1));
        tr_vec2 xy;
        tr_vec2 back;
        if (!tr_lens_undistort(lens, uv, &xy)) continue;
        FUZZ_CHECK(tr_lens_project(lens, tr_v3(xy.x, xy.y, 1), &back, NULL, NULL));
        FUZZ_CHECK(tr_v2_norm(tr_v2_sub(back, uv)) < 1e-6);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char path[FUZZ_PATH_SIZE];
    tr_lens lens;
    tr_error err = {0};
    fuzz_file_open(0, data, size, path);
    bool ok = tr_lens_profile_read(path, &lens, &err);
    fuzz_check_error(ok, &err);
    if (ok) {
        check_model(&lens);
        check_round_trip(&lens);
    }
    fuzz_file_close(0);
    return 0;
}
