/* Any bytes as an HEIC or AVIF photo: its pixels, and what it tells. */
#include "fuzz.h"

#include "image/exif.h"
#include "image/image.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tr_image image;
    tr_exif exif;
    tr_error err = {0};
    bool ok = tr_image_decode(data, size, "photo.heic", &image, &err);
    fuzz_check_error(ok, &err);
    FUZZ_CHECK(ok == (image.px != NULL));
    FUZZ_CHECK((int64_t)image.width * image.height <= TR_IMAGE_MAX_PX);
    tr_image_release(&image);
    FUZZ_CHECK(tr_exif_read(data, size, &exif, &err)); /* unless memory ran out */
    FUZZ_CHECK(exif.orientation >= 0 && exif.orientation <= 8);
    return 0;
}
