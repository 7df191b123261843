/* Any bytes as a PNG photo: as they are, and with the checksums of all chunks put right, without
   which a changed file would never get past the first check. */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

#include <zlib.h>

#include "image/image.h"

static uint32_t get32(const uint8_t *p) {
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static void put32(uint8_t *p, uint32_t x) {
    for (int k = 0; k < 4; k++) p[k] = (uint8_t)(x >> (24 - 8 * k));
}

/* Source: PNG specification (ISO/IEC 15948), 5.3: length, type, data, CRC of type and data. */
static void correct_checksums(uint8_t *data, size_t size) {
    enum { SIGNATURE = 8, AROUND = 12 };
    for (size_t at = SIGNATURE; at + AROUND <= size;) {
        uint32_t length = get32(data + at);
        if (length > size - at - AROUND) return;
        uLong crc = crc32(0, data + at + 4, length + 4);
        put32(data + at + 8 + length, (uint32_t)crc);
        at += AROUND + length;
    }
}

static void decode(const uint8_t *data, size_t size) {
    tr_image image;
    tr_error err = {0};
    bool ok = tr_image_decode(data, size, "photo.png", &image, &err);
    fuzz_check_error(ok, &err);
    FUZZ_CHECK(ok == (image.px != NULL));
    FUZZ_CHECK((int64_t)image.width * image.height <= TR_IMAGE_MAX_PX);
    tr_image_release(&image);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    decode(data, size);
    uint8_t *copy = malloc(size + 1);
    FUZZ_CHECK(copy != NULL);
    memcpy(copy, data, size);
    correct_checksums(copy, size);
    decode(copy, size);
    free(copy);
    return 0;
}
