/* Any bytes as a photo that tells how it was taken: whatever is damaged, it is no error, and what
   comes out can be shown and written into a lens profile. */
#include "fuzz.h"

#include <string.h>

#include "base/text.h"
#include "image/exif.h"

static bool is_line(const char *text, size_t size) {
    return memchr(text, 0, size) && tr_text_is_line(text, strlen(text));
}

static bool is_within(double x, double high) {
    return x >= 0 && x <= high;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tr_exif exif;
    tr_error err = {0};
    bool ok = tr_exif_read(data, size, &exif, &err);
    fuzz_check_error(ok, &err);
    FUZZ_CHECK(ok); /* unless memory ran out */
    FUZZ_CHECK(is_line(exif.camera.name, sizeof exif.camera.name));
    FUZZ_CHECK(is_line(exif.taken, sizeof exif.taken));
    FUZZ_CHECK(is_within(exif.camera.focal_length_mm, TR_CAMERA_MAX_FOCAL_MM));
    FUZZ_CHECK(is_within(exif.camera.equivalent_focal_length_mm, TR_CAMERA_MAX_FOCAL_MM));
    FUZZ_CHECK(is_within(exif.camera.digital_zoom, TR_CAMERA_MAX_ZOOM));
    FUZZ_CHECK(exif.orientation >= 0 && exif.orientation <= 8);
    FUZZ_CHECK(exif.width_px >= 0 && exif.height_px >= 0);
    FUZZ_CHECK(*exif.taken || exif.taken_s == 0);
    return 0;
}
