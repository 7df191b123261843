#include "image/photo_file.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"

static const size_t MAX_BYTES = 400u * 1024u * 1024u;

bool tr_photo_file_read(const char *path, tr_photo_file *out, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    memset(out, 0, sizeof *out);
    tr_file_say_role(path, "photo");
    if (!tr_file_read(path, MAX_BYTES, &data, &size, err)) return false;
    tr_sha256_hex(data, size, out->sha256);
    bool ok = tr_exif_read(data, size, &out->exif, err) &&
              tr_image_decode(data, size, path, &out->image, err);
    free(data);
    return ok;
}

bool tr_photo_file_read_again(const char *path, const char *sha256, tr_image *out, tr_error *err) {
    uint8_t *data = NULL;
    size_t size = 0;
    char found[65];
    memset(out, 0, sizeof *out);
    if (!tr_file_read(path, MAX_BYTES, &data, &size, err)) return false;
    tr_sha256_hex(data, size, found);
    bool ok = strcmp(found, sha256) == 0
                  ? tr_image_decode(data, size, path, out, err)
                  : tr_fail(err, TR_BAD_INPUT, "The photo has changed since it was measured.");
    free(data);
    return ok;
}
