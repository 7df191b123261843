/* HEVC by libde265, AV1 by dav1d: see heif_module.h.

   What libde265 does when memory runs out: planes and what it keeps of each block it takes with
   malloc and reports as DE265_ERROR_OUT_OF_MEMORY. Its small objects (decoder, units, tables of
   slices) it takes with new, whose exception nobody can catch on this side of its C interface: the
   process then ends (std::terminate). So that a file cannot bring that about, the size of a
   picture is looked at before its planes are taken (get_buffer); what then is left to new is a
   small part of the file's own size. dav1d is C, and reports all. */
#include "image/heif_module.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>

#include <dav1d/dav1d.h>
#include <libde265/de265.h>

#include "image/image.h"

enum { IDENTITY = 0 }; /* matrix coefficients of planes that are green, blue and red */

static tr_heif_outcome fail(tr_heif_outcome outcome, const char *why, char *text, size_t size) {
    snprintf(text, size, "%s", why);
    return outcome;
}

/* ---- samples ---- */

/* A decoded picture's planes, Y (or green) first. None: NULL. */
typedef struct {
    const uint8_t *data[3];
    ptrdiff_t stride[3];
    int width, height, bits;
    bool is_444, is_full_range;
    int matrix;
} planes;

static unsigned sample(const planes *p, int k, int u, int v) {
    const uint8_t *row = p->data[k] + v * p->stride[k];
    if (p->bits == 8) return row[u];
    uint16_t x;
    memcpy(&x, row + 2 * (ptrdiff_t)u, sizeof x);
    return x;
}

/* To 0 .. 255: black and white of n bits are, of full range, 0 and 2^n - 1, else 16 and 235 times
   2^(n-8). Rounded to the nearest. Source: ITU-T H.273 (2021), 8.3, on Y of n bits. */
static uint8_t to_8_bits(const planes *p, unsigned x) {
    const unsigned black = p->is_full_range ? 0U : 16U << (p->bits - 8);
    const unsigned range = p->is_full_range ? (1U << p->bits) - 1 : 219U << (p->bits - 8);
    const unsigned above = x > black ? x - black : 0;
    return (uint8_t)(above >= range ? 255 : (above * 255 + range / 2) / range);
}

/* The weights of codec.h. */
static unsigned luma_of(const planes *p, int u, int v) {
    const unsigned sum =
        587 * sample(p, 0, u, v) + 114 * sample(p, 1, u, v) + 299 * sample(p, 2, u, v);
    return (sum + 500) / 1000;
}

static void take_row(const planes *p, int v, int width, uint8_t *row) {
    const bool is_rgb = p->matrix == IDENTITY && p->is_444 && p->data[1] && p->data[2];
    if (is_rgb) {
        for (int u = 0; u < width; u++) row[u] = to_8_bits(p, luma_of(p, u, v));
    } else if (p->bits == 8 && p->is_full_range) {
        memcpy(row, p->data[0] + v * p->stride[0], (size_t)width);
    } else {
        for (int u = 0; u < width; u++) row[u] = to_8_bits(p, sample(p, 0, u, v));
    }
}

static tr_heif_outcome take_grey(planes p, const tr_heif_picture *picture, char *text,
                                 size_t text_size) {
    tr_heif_place to = {0};
    if (picture->has_range) {
        p.is_full_range = picture->is_full_range;
        p.matrix = picture->matrix;
    }
    if (!p.data[0] || p.bits < 8 || p.bits > 16) {
        return fail(TR_HEIF_UNSUPPORTED, "its samples are of an unknown kind", text, text_size);
    }
    if (!picture->place_for(picture->context, p.width, p.height, &to)) return TR_HEIF_NO_ROOM;
    for (int v = 0; v < to.height; v++) take_row(&p, v, to.width, to.to + v * to.stride);
    return TR_HEIF_OK;
}

/* ---- HEVC ---- */

static size_t big_endian(const uint8_t *p, int n) {
    size_t x = 0;
    for (int i = 0; i < n; i++) x = x << 8 | p[i];
    return x;
}

/* What a coded unit is, it says itself. */
static bool push(de265_decoder_context *decoder, const uint8_t *data, size_t size) {
    return size <= INT_MAX && de265_push_NAL(decoder, data, (int)size, 0, NULL) == DE265_OK;
}

/* ISO/IEC 14496-15, 8.3.3.1.2: arrays of parameter sets behind 22 bytes. */
static bool push_config(de265_decoder_context *decoder, const uint8_t *at, size_t config_size) {
    const uint8_t *end = at + config_size;
    if (config_size < 23) return false;
    int n_arrays = at[22];
    at += 23;
    for (; n_arrays > 0; n_arrays--) {
        if (end - at < 3) return false;
        size_t n_units = big_endian(at + 1, 2);
        at += 3;
        for (; n_units > 0; n_units--) {
            if (end - at < 2) return false;
            const size_t size = big_endian(at, 2);
            at += 2;
            if (size > (size_t)(end - at) || !push(decoder, at, size)) return false;
            at += size;
        }
    }
    return true;
}

/* Units behind their sizes, of length_size bytes each. */
static bool push_units(de265_decoder_context *decoder, int length_size, const uint8_t *data,
                       size_t size) {
    const size_t head = (size_t)length_size;
    while (size > 0) {
        if (size < head) return false;
        const size_t n = big_endian(data, length_size);
        if (n > size - head || !push(decoder, data + head, n)) return false;
        data += head + n;
        size -= head + n;
    }
    return true;
}

/* Planes as libde265 would take them, but of no picture larger than any photo. userdata: a bool,
   whether one was. */
static int get_buffer(de265_decoder_context *decoder, struct de265_image_spec *spec,
                      struct de265_image *image, void *userdata) {
    const struct de265_image_allocation *usual = de265_get_default_image_allocation_functions();
    bool *is_too_large = userdata;
    *is_too_large = (long long)spec->width * spec->height > TR_IMAGE_MAX_PX;
    return *is_too_large ? 0 : usual->get_buffer(decoder, spec, image, NULL);
}

static void release_buffer(de265_decoder_context *decoder, struct de265_image *image,
                           void *userdata) {
    (void)userdata;
    de265_get_default_image_allocation_functions()->release_buffer(decoder, image, NULL);
}

static planes hevc_planes(const struct de265_image *image) {
    const bool is_444 = de265_get_chroma_format(image) == de265_chroma_444;
    planes p = {
        .width = de265_get_image_width(image, 0),
        .height = de265_get_image_height(image, 0),
        .bits = de265_get_bits_per_pixel(image, 0),
        .is_444 = is_444,
        .is_full_range = de265_get_image_full_range_flag(image) != 0,
        .matrix = de265_get_image_matrix_coefficients(image),
    };
    for (int k = 0; k < (is_444 ? 3 : 1); k++) {
        int stride = 0;
        p.data[k] = de265_get_image_plane(image, k, &stride);
        p.stride[k] = stride;
        if (de265_get_bits_per_pixel(image, k) != p.bits) p.bits = 0;
    }
    return p;
}

/* The first picture, which belongs to the decoder. NULL: none; *error says why. */
static const struct de265_image *first_hevc_picture(de265_decoder_context *decoder,
                                                    de265_error *error) {
    *error = de265_flush_data(decoder);
    for (int more = 1; more != 0 && *error == DE265_OK;) {
        *error = de265_decode(decoder, &more);
        if (*error == DE265_ERROR_WAITING_FOR_INPUT_DATA) *error = DE265_OK;
        /* With a warning it would go on with pixels that it made up. */
        if (*error == DE265_OK) *error = de265_get_warning(decoder);
        const struct de265_image *image = de265_peek_next_picture(decoder);
        if (*error == DE265_OK && image) return image;
    }
    return NULL;
}

static tr_heif_outcome decode_hevc(const tr_heif_picture *picture, char *text, size_t text_size) {
    struct de265_image_allocation allocation = {get_buffer, release_buffer};
    bool is_too_large = false;
    de265_error error = DE265_OK;
    tr_heif_outcome outcome;
    de265_decoder_context *decoder = de265_new_decoder();
    if (!decoder) return TR_HEIF_NO_MEMORY;
    de265_set_image_allocation_functions(decoder, &allocation, &is_too_large);
    const struct de265_image *image = NULL;
    bool is_whole =
        push_config(decoder, picture->config, picture->config_size) &&
        push_units(decoder, (picture->config[21] & 3) + 1, picture->data, picture->size);
    if (is_whole) image = first_hevc_picture(decoder, &error);
    if (!is_whole) {
        outcome = fail(TR_HEIF_DAMAGED, "a unit is longer than the data", text, text_size);
    } else if (image) {
        outcome = take_grey(hevc_planes(image), picture, text, text_size);
    } else if (is_too_large) {
        outcome =
            fail(TR_HEIF_DAMAGED, "it says that it is larger than any photo", text, text_size);
    } else if (error == DE265_ERROR_OUT_OF_MEMORY) {
        outcome = TR_HEIF_NO_MEMORY;
    } else {
        outcome = fail(TR_HEIF_DAMAGED,
                       error == DE265_OK ? "it holds no picture" : de265_get_error_text(error),
                       text, text_size);
    }
    de265_free_decoder(decoder);
    return outcome;
}

/* ---- AV1 ---- */

/* The first picture. The item holds all that is needed: what av1C has of it is a copy. Returns 0,
   or dav1d's error. */
static int first_av1_picture(Dav1dContext *decoder, const tr_heif_picture *picture,
                             Dav1dPicture *image) {
    Dav1dData data = {0};
    uint8_t *copy = dav1d_data_create(&data, picture->size);
    if (!copy) return DAV1D_ERR(ENOMEM);
    memcpy(copy, picture->data, picture->size);
    int error = DAV1D_ERR(EAGAIN);
    while (error == DAV1D_ERR(EAGAIN)) {
        const bool is_all_sent = data.sz == 0;
        const int sent = is_all_sent ? 0 : dav1d_send_data(decoder, &data);
        if (sent != 0 && sent != DAV1D_ERR(EAGAIN)) {
            error = sent;
            break;
        }
        error = dav1d_get_picture(decoder, image);
        /* It ends before a picture does. */
        if (error == DAV1D_ERR(EAGAIN) && is_all_sent) error = DAV1D_ERR(EINVAL);
    }
    if (data.sz > 0) dav1d_data_unref(&data);
    return error;
}

static planes av1_planes(const Dav1dPicture *image) {
    planes p = {
        .width = image->p.w,
        .height = image->p.h,
        .bits = image->p.bpc,
        .is_444 = image->p.layout == DAV1D_PIXEL_LAYOUT_I444,
        .is_full_range = image->seq_hdr->color_range != 0,
        .matrix = (int)image->seq_hdr->mtrx,
    };
    for (int k = 0; k < (p.is_444 ? 3 : 1); k++) {
        p.data[k] = image->data[k];
        p.stride[k] = image->stride[k > 0];
    }
    return p;
}

static tr_heif_outcome decode_av1(const tr_heif_picture *picture, char *text, size_t text_size) {
    Dav1dContext *decoder = NULL;
    Dav1dPicture image = {0};
    Dav1dSettings settings;
    tr_heif_outcome outcome;
    dav1d_default_settings(&settings);
    settings.n_threads = 1;
    settings.max_frame_delay = 1;
    settings.apply_grain = 0; /* that is noise, made up by the decoder */
    settings.all_layers = 0;
    settings.frame_size_limit = TR_IMAGE_MAX_PX;
    settings.logger.callback = NULL;
    int error = dav1d_open(&decoder, &settings);
    if (error == 0) error = first_av1_picture(decoder, picture, &image);
    if (error == DAV1D_ERR(ENOMEM)) {
        outcome = TR_HEIF_NO_MEMORY;
    } else if (error != 0) {
        outcome = fail(error == DAV1D_ERR(ENOPROTOOPT) ? TR_HEIF_UNSUPPORTED : TR_HEIF_DAMAGED,
                       "AV1 data that make no picture", text, text_size);
    } else {
        outcome = take_grey(av1_planes(&image), picture, text, text_size);
    }
    if (image.data[0] || image.frame_hdr) dav1d_picture_unref(&image);
    if (decoder) dav1d_close(&decoder);
    return outcome;
}

__attribute__((visibility("default"))) tr_heif_decode_function tr_heif_module_decode;

tr_heif_outcome tr_heif_module_decode(const tr_heif_picture *picture, char *text,
                                      size_t text_size) {
    return picture->is_av1 ? decode_av1(picture, text, text_size)
                           : decode_hevc(picture, text, text_size);
}
