/* JPEG by libjpeg. The library leaves a failed call through its error manager's error_exit, which
   must not return: here it fills the tr_error and jumps back into decode_guarded() or
   encode_guarded(). Everything that must outlive the jump is in the job, outside those frames. */
#include "image/codec.h"

#include <limits.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>

#include <jpeglib.h>
#include <jerror.h>

#include "base/file.h"

/* A progressive photo has about ten scans. Each may be a few bytes long and still cost a pass over
   the whole image, so that a small file with thousands would keep us busy for hours. */
enum { MAX_SCANS = 64 };

/* First member, so that cinfo->err leads back to it. */
typedef struct {
    struct jpeg_error_mgr manager;
    jmp_buf leave;
    const char *name;
    tr_error *err;
} errors;

typedef struct {
    struct jpeg_decompress_struct cinfo;
    struct jpeg_progress_mgr progress;
    errors errors;
    const uint8_t *data;
    size_t size;
    tr_image *out;
} decode_job;

typedef struct {
    struct jpeg_compress_struct cinfo;
    errors errors;
    const uint8_t *px;             /* row by row without gaps */
    int width, height, n_channels; /* 1: grey, 3: colours */
    int quality;
    unsigned char *data; /* the file so far; owned */
    unsigned long size;
    bool has_buffer; /* the library holds a buffer that data may not know of yet */
} encode_job;

static void explain(j_common_ptr cinfo) {
    const errors *e = (const errors *)cinfo->err;
    char why[JMSG_LENGTH_MAX];
    cinfo->err->format_message(cinfo, why);
    switch (cinfo->err->msg_code) {
    case JERR_OUT_OF_MEMORY: tr_fail_memory(e->err); break;
    case JERR_EMPTY_IMAGE:
        tr_fail_at(e->err, TR_BAD_INPUT, e->name, 0, NULL,
                   "the JPEG has no pixels; use another photo");
        break;
    case JERR_IMAGE_TOO_BIG:
        tr_fail_at(e->err, TR_BAD_INPUT, e->name, 0, NULL,
                   "the JPEG is wider or higher than %ld px; take the photo with a smaller image "
                   "size",
                   JPEG_MAX_DIMENSION);
        break;
    case JERR_SOF_UNSUPPORTED:
    case JERR_BAD_PRECISION:
    case JERR_ARITH_NOTIMPL:
    case JERR_CONVERSION_NOTIMPL:
        tr_fail_at(e->err, TR_BAD_INPUT, e->name, 0, NULL,
                   "this kind of JPEG cannot be read (%s); set the camera to save baseline or "
                   "progressive JPEG of 8 bits",
                   why);
        break;
    default:
        tr_fail_at(e->err, TR_BAD_INPUT, e->name, 0, NULL,
                   "the JPEG is damaged or ends early (%s); copy the photo from the camera again",
                   why);
        break;
    }
}

static void leave(j_common_ptr cinfo) {
    explain(cinfo);
    longjmp(((errors *)cinfo->err)->leave, 1);
}

/* Level -1 is a warning: the library would go on with pixels that it made up. */
static void on_message(j_common_ptr cinfo, int level) {
    if (level < 0) leave(cinfo);
}

static void print_nothing(j_common_ptr cinfo) {
    (void)cinfo;
}

static struct jpeg_error_mgr *errors_init(errors *e, const char *name, tr_error *err) {
    e->name = name;
    e->err = err;
    jpeg_std_error(&e->manager);
    e->manager.error_exit = leave;
    e->manager.emit_message = on_message;
    e->manager.output_message = print_nothing;
    return &e->manager;
}

/* Called by the library as it works; of a file with many scans, while it reads them. */
static void limit_scans(j_common_ptr cinfo) {
    errors *e = (errors *)cinfo->err;
    if (((j_decompress_ptr)cinfo)->input_scan_number <= MAX_SCANS) return;
    tr_fail_at(e->err, TR_BAD_INPUT, e->name, 0, NULL,
               "the JPEG has more than %d scans, which no camera writes; use the JPEG file that "
               "the camera saved",
               MAX_SCANS);
    longjmp(e->leave, 1);
}

/* What the library is to make of the stored colours, or JCS_UNKNOWN. Of YCbCr only Y: the two
   others are then not even transformed. */
static J_COLOR_SPACE wanted_colours(J_COLOR_SPACE stored) {
    switch (stored) {
    case JCS_GRAYSCALE:
    case JCS_YCbCr: return JCS_GRAYSCALE;
    case JCS_RGB: return JCS_RGB;
    case JCS_CMYK:
    case JCS_YCCK: return JCS_CMYK;
    default: return JCS_UNKNOWN;
    }
}

/* Whether every component came, and, if progressive, with all bits of all its coefficients. A file
   cut between two scans and closed again is otherwise sound, but blurred. */
static bool is_complete(const struct jpeg_decompress_struct *cinfo) {
    for (int c = 0; c < cinfo->num_components; c++) {
        const jpeg_component_info *component = &cinfo->comp_info[c];
        if (!component->quant_table) return false; /* set by the component's first scan */
        for (int k = 0; cinfo->progressive_mode && k < DCTSIZE2; k++) {
            if (cinfo->coef_bits[c][k] != 0) return false;
        }
    }
    return true;
}

static void grey_of_rgb(const uint8_t *from, uint8_t *to, int width) {
    for (int u = 0; u < width; u++, from += 3) {
        to[u] = (uint8_t)((tr_luma_1000(from[0], from[1], from[2]) + 500) / 1000);
    }
}

/* R = (255 - C)(255 - K) / 255 and so on; inverted files store 255 - C, ..., 255 - K. */
static void grey_of_cmyk(const uint8_t *from, uint8_t *to, int width, bool is_inverted) {
    const uint8_t flip = is_inverted ? 0 : 255;
    for (int u = 0; u < width; u++, from += 4) {
        const uint32_t luma_1000 = tr_luma_1000(from[0] ^ flip, from[1] ^ flip, from[2] ^ flip);
        const uint32_t k = from[3] ^ flip;
        to[u] = (uint8_t)((luma_1000 * k + 127500) / 255000);
    }
}

static void read_rows(decode_job *job) {
    j_decompress_ptr cinfo = &job->cinfo;
    const int width = job->out->width;
    const bool is_grey = cinfo->out_color_space == JCS_GRAYSCALE;
    /* Freed with cinfo. */
    JSAMPARRAY colours = cinfo->mem->alloc_sarray(
        (j_common_ptr)cinfo, JPOOL_IMAGE, (JDIMENSION)(width * cinfo->output_components), 1);
    for (int v = 0; v < job->out->height; v++) {
        uint8_t *to = job->out->px + (long)v * width;
        if (jpeg_read_scanlines(cinfo, is_grey ? &to : colours, 1) != 1) {
            ERREXIT(cinfo, JERR_INPUT_EOF);
        }
        if (cinfo->out_color_space == JCS_RGB) grey_of_rgb(colours[0], to, width);
        /* Files with an APP14 colour segment store CMYK inverted. */
        if (cinfo->out_color_space == JCS_CMYK) {
            grey_of_cmyk(colours[0], to, width, cinfo->saw_Adobe_marker);
        }
    }
}

static bool decode_all(decode_job *job) {
    j_decompress_ptr cinfo = &job->cinfo;
    const char *name = job->errors.name;
    tr_error *err = job->errors.err;
    jpeg_create_decompress(cinfo);
    job->progress.progress_monitor = limit_scans;
    cinfo->progress = &job->progress;
    jpeg_mem_src(cinfo, job->data, job->size);
    jpeg_read_header(cinfo, TRUE);
    if (!tr_image_check_size(cinfo->image_width, cinfo->image_height, name, err)) return false;
    cinfo->out_color_space = wanted_colours(cinfo->jpeg_color_space);
    if (cinfo->out_color_space == JCS_UNKNOWN) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the colours of this JPEG (%d components) are of an unknown kind; use "
                          "the JPEG file that the camera saved",
                          cinfo->num_components);
    }
    cinfo->dct_method = JDCT_ISLOW; /* the exact one: the same pixels on every machine */
    cinfo->do_block_smoothing = FALSE;
    jpeg_start_decompress(cinfo); /* reads all scans, if there are several */
    if (!is_complete(cinfo)) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the JPEG lacks some of its scans; copy the photo from the camera again");
    }
    if (!tr_image_init(job->out, (int)cinfo->output_width, (int)cinfo->output_height, err)) {
        return false;
    }
    read_rows(job);
    jpeg_finish_decompress(cinfo); /* up to the end marker: its absence is an early end, too */
    return true;
}

static bool decode_guarded(decode_job *job) {
    if (setjmp(job->errors.leave)) return false;
    return decode_all(job);
}

bool tr_jpeg_decode(const uint8_t *data, size_t size, const char *name, tr_image *out,
                    tr_error *err) {
    decode_job job = {.data = data, .size = size, .out = out};
    job.cinfo.err = errors_init(&job.errors, name, err);
    bool ok = decode_guarded(&job);
    jpeg_destroy_decompress(&job.cinfo);
    return ok;
}

static void encode_all(encode_job *job) {
    j_compress_ptr cinfo = &job->cinfo;
    jpeg_create_compress(cinfo);
    jpeg_mem_dest(cinfo, &job->data, &job->size);
    job->has_buffer = true;
    cinfo->image_width = (JDIMENSION)job->width;
    cinfo->image_height = (JDIMENSION)job->height;
    cinfo->input_components = job->n_channels;
    cinfo->in_color_space = job->n_channels == 1 ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_set_defaults(cinfo);
    jpeg_set_quality(cinfo, job->quality, TRUE);
    cinfo->dct_method = JDCT_ISLOW;
    jpeg_start_compress(cinfo, TRUE);
    for (int v = 0; v < job->height; v++) {
        /* The library reads it only. */
        JSAMPROW row = (JSAMPROW)(job->px + (long)v * job->width * job->n_channels);
        jpeg_write_scanlines(cinfo, &row, 1);
    }
    jpeg_finish_compress(cinfo);
}

static bool encode_guarded(encode_job *job) {
    if (setjmp(job->errors.leave)) {
        /* A larger buffer replaces the first one, but data is told only at the end. */
        if (job->has_buffer) job->cinfo.dest->term_destination(&job->cinfo);
        return false;
    }
    encode_all(job);
    return true;
}

static bool encode(encode_job *job, const char *name, uint8_t **data, size_t *size, tr_error *err) {
    *data = NULL;
    *size = 0;
    if (job->quality < 1 || job->quality > 100) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "the JPEG quality is %d; give one from 1 to 100", job->quality);
    }
    if (!tr_image_check_size(job->width, job->height, name, err)) return false;
    if (job->width > JPEG_MAX_DIMENSION || job->height > JPEG_MAX_DIMENSION) {
        return tr_fail_at(err, TR_BAD_INPUT, name, 0, NULL,
                          "a JPEG can be at most %ld px wide and high; write a PNG",
                          JPEG_MAX_DIMENSION);
    }
    job->cinfo.err = errors_init(&job->errors, name, err);
    bool ok = encode_guarded(job);
    jpeg_destroy_compress(&job->cinfo);
    if (ok) {
        *data = job->data;
        *size = job->size;
    } else {
        free(job->data);
    }
    return ok;
}

bool tr_image_encode_jpeg(const tr_image *image, int quality, const char *name, uint8_t **data,
                          size_t *size, tr_error *err) {
    encode_job job = {.px = image->px,
                      .width = image->width,
                      .height = image->height,
                      .n_channels = 1,
                      .quality = quality};
    return encode(&job, name, data, size, err);
}

bool tr_rgb_encode_jpeg(const uint8_t *rgb, int width, int height, int quality, const char *name,
                        uint8_t **data, size_t *size, tr_error *err) {
    encode_job job = {
        .px = rgb, .width = width, .height = height, .n_channels = 3, .quality = quality};
    return encode(&job, name, data, size, err);
}

bool tr_image_write_jpeg(const tr_image *image, int quality, const char *path, tr_error *err) {
    uint8_t *data;
    size_t size;
    bool ok = tr_image_encode_jpeg(image, quality, path, &data, &size, err) &&
              tr_file_write(path, data, size, err);
    free(data);
    return ok;
}
