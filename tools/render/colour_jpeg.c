#include "tools/render/colour_jpeg.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>

#include <jpeglib.h>

#include "base/file.h"

/* libjpeg leaves a failed call through error_exit, which must not return. What must outlive the
   jump is here, outside the frame that is left. */
typedef struct {
    struct jpeg_error_mgr manager; /* first, so that cinfo->err leads back here */
    jmp_buf leave;
    struct jpeg_compress_struct cinfo;
    unsigned char *data; /* owned */
    unsigned long size;
    uint8_t *row; /* owned */
} job;

static void leave(j_common_ptr cinfo) {
    longjmp(((job *)cinfo->err)->leave, 1);
}

static void encode(job *j, const tr_image *grey, const tr_chroma *chroma, int quality) {
    j_compress_ptr cinfo = &j->cinfo;
    jpeg_create_compress(cinfo);
    jpeg_mem_dest(cinfo, &j->data, &j->size);
    cinfo->image_width = (JDIMENSION)grey->width;
    cinfo->image_height = (JDIMENSION)grey->height;
    cinfo->input_components = 3;
    cinfo->in_color_space = JCS_YCbCr;
    jpeg_set_defaults(cinfo); /* 4:2:0 */
    jpeg_set_quality(cinfo, quality, TRUE);
    cinfo->dct_method = JDCT_ISLOW;
    cinfo->optimize_coding = TRUE;
    jpeg_start_compress(cinfo, TRUE);
    for (int v = 0; v < grey->height; v++) {
        for (int u = 0; u < grey->width; u++) {
            long at = (long)v * grey->width + u;
            j->row[3 * u] = grey->px[at];
            j->row[3 * u + 1] = chroma->cb[at];
            j->row[3 * u + 2] = chroma->cr[at];
        }
        jpeg_write_scanlines(cinfo, &j->row, 1);
    }
    jpeg_finish_compress(cinfo);
}

static bool encode_guarded(job *j, const tr_image *grey, const tr_chroma *chroma, int quality) {
    if (setjmp(j->leave)) return false;
    encode(j, grey, chroma, quality);
    return true;
}

bool tr_colour_jpeg_write(const tr_image *grey, const tr_chroma *chroma, int quality,
                          const char *path, tr_error *err) {
    job j = {.data = NULL};
    j.cinfo.err = jpeg_std_error(&j.manager);
    j.manager.error_exit = leave;
    j.row = malloc(3 * (size_t)grey->width);
    if (!j.row) return tr_fail_memory(err);
    bool ok = encode_guarded(&j, grey, chroma, quality)
                  ? tr_file_write(path, j.data, j.size, err)
                  : tr_fail_at(err, TR_NO_FILE, path, 0, NULL,
                               "the photo could not be encoded as JPEG; give a smaller image");
    jpeg_destroy_compress(&j.cinfo);
    free(j.data);
    free(j.row);
    return ok;
}
