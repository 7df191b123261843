#include "tools/bench/floor.h"

#include <stdio.h>
#include <stdlib.h>

#include <jpeglib.h>

/* The library's own error handler ends the process, which is what a broken photo of the renderer's
   deserves here. */
bool bench_decode(const char *path, tr_error *err) {
    struct jpeg_decompress_struct cinfo;
    struct jpeg_error_mgr errors;
    FILE *file = fopen(path, "rb");
    if (!file) return tr_fail_at(err, TR_NO_FILE, path, 0, NULL, "the photo cannot be opened");
    cinfo.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&cinfo);
    jpeg_stdio_src(&cinfo, file);
    jpeg_read_header(&cinfo, TRUE);
    cinfo.out_color_space = JCS_GRAYSCALE;
    jpeg_start_decompress(&cinfo);
    size_t width = cinfo.output_width;
    JSAMPLE *px = malloc(width * cinfo.output_height);
    bool ok = px || tr_fail_memory(err);
    while (ok && cinfo.output_scanline < cinfo.output_height) {
        JSAMPROW row = px + width * cinfo.output_scanline;
        ok = jpeg_read_scanlines(&cinfo, &row, 1) == 1 ||
             tr_fail_at(err, TR_BAD_INPUT, path, 0, NULL, "the photo ends early");
    }
    if (ok) jpeg_finish_decompress(&cinfo);
    jpeg_destroy_decompress(&cinfo);
    free(px);
    fclose(file);
    return ok;
}
