/* Any bytes as a JPEG photo. */
#include "fuzz.h"

#include "image/image.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tr_image image;
    tr_error err = {0};
    bool ok = tr_image_decode(data, size, "photo.jpg", &image, &err);
    fuzz_check_error(ok, &err);
    FUZZ_CHECK(ok == (image.px != NULL));
    FUZZ_CHECK((int64_t)image.width * image.height <= TR_IMAGE_MAX_PX);
    tr_image_release(&image);
    return 0;
}
