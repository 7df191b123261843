// HEVC by libde265, AV1 by dav1d: see heif_module.h. Whatever a library throws ends here.
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <new>

#include <dav1d/dav1d.h>
#include <libde265/de265.h>

extern "C" {
#include "image/heif_module.h"
}

namespace {

constexpr int IDENTITY = 0; // matrix coefficients of planes that are green, blue and red

tr_heif_outcome fail(tr_heif_outcome outcome, const char *why, char *text, size_t size) {
    snprintf(text, size, "%s", why);
    return outcome;
}

// ---- samples ----

// A decoded picture's planes, Y (or green) first. None: NULL.
struct planes {
    const uint8_t *data[3];
    ptrdiff_t stride[3];
    int width, height, bits;
    bool is_444, is_full_range;
    int matrix;
};

unsigned sample(const planes &p, int k, int u, int v) {
    const uint8_t *row = p.data[k] + v * p.stride[k];
    if (p.bits == 8) return row[u];
    uint16_t x;
    memcpy(&x, row + 2 * static_cast<ptrdiff_t>(u), sizeof x);
    return x;
}

// To 0 .. 255: black and white of n bits are, of full range, 0 and 2^n - 1, else 16 and 235 times
// 2^(n-8). Rounded to the nearest. Source: ITU-T H.273 (2021), 8.3, on Y of n bits.
class scale {
  public:
    explicit scale(const planes &p)
        : black(p.is_full_range ? 0U : 16U << (p.bits - 8)),
          range(p.is_full_range ? (1U << p.bits) - 1 : 219U << (p.bits - 8)) {}

    uint8_t operator()(unsigned x) const {
        const unsigned above = x > black ? x - black : 0;
        return static_cast<uint8_t>(above >= range ? 255 : (above * 255 + range / 2) / range);
    }

  private:
    unsigned black, range;
};

// The weights of codec.h.
unsigned luma_of(const planes &p, int u, int v) {
    const unsigned sum =
        587 * sample(p, 0, u, v) + 114 * sample(p, 1, u, v) + 299 * sample(p, 2, u, v);
    return (sum + 500) / 1000;
}

tr_heif_outcome take_grey(planes p, const tr_heif_picture &picture, char *text, size_t text_size) {
    tr_heif_place to = {};
    if (picture.has_range) {
        p.is_full_range = picture.is_full_range;
        p.matrix = picture.matrix;
    }
    if (p.data[0] == nullptr || p.bits < 8 || p.bits > 16) {
        return fail(TR_HEIF_UNSUPPORTED, "its samples are of an unknown kind", text, text_size);
    }
    if (!picture.place_for(picture.context, p.width, p.height, &to)) return TR_HEIF_NO_ROOM;
    const bool is_rgb =
        p.matrix == IDENTITY && p.is_444 && p.data[1] != nullptr && p.data[2] != nullptr;
    const scale to_8_bits(p);
    for (int v = 0; v < to.height; v++) {
        uint8_t *row = to.to + v * to.stride;
        if (is_rgb) {
            for (int u = 0; u < to.width; u++) row[u] = to_8_bits(luma_of(p, u, v));
        } else if (p.bits == 8 && p.is_full_range) {
            memcpy(row, p.data[0] + v * p.stride[0], static_cast<size_t>(to.width));
        } else {
            for (int u = 0; u < to.width; u++) row[u] = to_8_bits(sample(p, 0, u, v));
        }
    }
    return TR_HEIF_OK;
}

// ---- HEVC ----

class hevc {
  public:
    hevc() : decoder(de265_new_decoder()) {}
    hevc(const hevc &) = delete;
    hevc &operator=(const hevc &) = delete;
    ~hevc() {
        if (decoder != nullptr) de265_free_decoder(decoder);
    }

    tr_heif_outcome decode(const tr_heif_picture &picture, char *text, size_t text_size) {
        if (decoder == nullptr) return TR_HEIF_NO_MEMORY;
        if (!push_config(picture) || !push_units(picture.data, picture.size)) {
            return fail(TR_HEIF_DAMAGED, "a unit is longer than the data", text, text_size);
        }
        de265_error error = de265_flush_data(decoder);
        for (int more = 1; more != 0 && error == DE265_OK;) {
            error = de265_decode(decoder, &more);
            if (error == DE265_ERROR_WAITING_FOR_INPUT_DATA) error = DE265_OK;
            // With a warning it would go on with pixels that it made up.
            if (error == DE265_OK) error = de265_get_warning(decoder);
            const de265_image *image = de265_peek_next_picture(decoder);
            if (error == DE265_OK && image != nullptr) {
                return take_grey(planes_of(image), picture, text, text_size);
            }
        }
        if (error == DE265_ERROR_OUT_OF_MEMORY) return TR_HEIF_NO_MEMORY;
        return fail(TR_HEIF_DAMAGED,
                    error == DE265_OK ? "it holds no picture" : de265_get_error_text(error), text,
                    text_size);
    }

  private:
    de265_decoder_context *decoder;
    int length_size = 4;

    static size_t big_endian(const uint8_t *p, int n) {
        size_t x = 0;
        for (int i = 0; i < n; i++) x = x << 8 | p[i];
        return x;
    }

    // What a coded unit is, it says itself.
    bool push(const uint8_t *data, size_t size) {
        return de265_push_NAL(decoder, data, static_cast<int>(size), 0, nullptr) == DE265_OK;
    }

    // ISO/IEC 14496-15, 8.3.3.1.2: arrays of parameter sets behind 22 bytes.
    bool push_config(const tr_heif_picture &picture) {
        const uint8_t *at = picture.config;
        const uint8_t *end = at + picture.config_size;
        if (end - at < 23) return false;
        length_size = (at[21] & 3) + 1;
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
                if (size > static_cast<size_t>(end - at) || !push(at, size)) return false;
                at += size;
            }
        }
        return true;
    }

    bool push_units(const uint8_t *data, size_t size) {
        const size_t head = static_cast<size_t>(length_size);
        while (size > 0) {
            if (size < head) return false;
            const size_t n = big_endian(data, length_size);
            if (n > size - head || n > 0x7fffffff || !push(data + head, n)) return false;
            data += head + n;
            size -= head + n;
        }
        return true;
    }

    static planes planes_of(const de265_image *image) {
        planes p = {};
        const de265_chroma chroma = de265_get_chroma_format(image);
        p.width = de265_get_image_width(image, 0);
        p.height = de265_get_image_height(image, 0);
        p.bits = de265_get_bits_per_pixel(image, 0);
        p.is_444 = chroma == de265_chroma_444;
        p.is_full_range = de265_get_image_full_range_flag(image) != 0;
        p.matrix = de265_get_image_matrix_coefficients(image);
        for (int k = 0; k < (p.is_444 ? 3 : 1); k++) {
            int stride = 0;
            p.data[k] = de265_get_image_plane(image, k, &stride);
            p.stride[k] = stride;
            if (de265_get_bits_per_pixel(image, k) != p.bits) p.bits = 0;
        }
        return p;
    }
};

// ---- AV1 ----

class av1 {
  public:
    av1() = default;
    av1(const av1 &) = delete;
    av1 &operator=(const av1 &) = delete;
    ~av1() {
        if (image.data[0] != nullptr || image.frame_hdr != nullptr) dav1d_picture_unref(&image);
        if (decoder != nullptr) dav1d_close(&decoder);
    }

    tr_heif_outcome decode(const tr_heif_picture &picture, char *text, size_t text_size) {
        Dav1dSettings settings;
        dav1d_default_settings(&settings);
        settings.n_threads = 1;
        settings.max_frame_delay = 1;
        settings.apply_grain = 0; // that is noise, made up by the decoder
        settings.all_layers = 0;
        settings.frame_size_limit = 200000000; // TR_IMAGE_MAX_PX
        settings.logger.callback = nullptr;
        int error = dav1d_open(&decoder, &settings);
        if (error == 0) error = feed(picture);
        if (error == DAV1D_ERR(ENOMEM)) return TR_HEIF_NO_MEMORY;
        if (error != 0) {
            return fail(error == DAV1D_ERR(ENOPROTOOPT) ? TR_HEIF_UNSUPPORTED : TR_HEIF_DAMAGED,
                        "AV1 data that make no picture", text, text_size);
        }
        return take_grey(planes_of(image), picture, text, text_size);
    }

  private:
    Dav1dContext *decoder = nullptr;
    Dav1dPicture image = {};

    // The item holds all that is needed: what av1C has of it is a copy.
    int feed(const tr_heif_picture &picture) {
        Dav1dData data = {};
        uint8_t *copy = dav1d_data_create(&data, picture.size);
        if (copy == nullptr) return DAV1D_ERR(ENOMEM);
        memcpy(copy, picture.data, picture.size);
        int error = DAV1D_ERR(EAGAIN);
        while (error == DAV1D_ERR(EAGAIN)) {
            int sent = data.sz > 0 ? dav1d_send_data(decoder, &data) : 0;
            bool is_all_sent = data.sz == 0;
            if (sent != 0 && sent != DAV1D_ERR(EAGAIN)) {
                error = sent;
                break;
            }
            error = dav1d_get_picture(decoder, &image);
            if (error == DAV1D_ERR(EAGAIN) && is_all_sent) {
                error = DAV1D_ERR(EINVAL); // it ends before a picture does
            }
        }
        if (data.sz > 0) dav1d_data_unref(&data);
        return error;
    }

    static planes planes_of(const Dav1dPicture &image) {
        planes p = {};
        p.width = image.p.w;
        p.height = image.p.h;
        p.bits = image.p.bpc;
        p.is_444 = image.p.layout == DAV1D_PIXEL_LAYOUT_I444;
        p.is_full_range = image.seq_hdr->color_range != 0;
        p.matrix = static_cast<int>(image.seq_hdr->mtrx);
        for (int k = 0; k < (p.is_444 ? 3 : 1); k++) {
            p.data[k] = static_cast<const uint8_t *>(image.data[k]);
            p.stride[k] = image.stride[k > 0];
        }
        return p;
    }
};

} // namespace

extern "C" __attribute__((visibility("default"))) tr_heif_decode_function tr_heif_module_decode;

tr_heif_outcome tr_heif_module_decode(const tr_heif_picture *picture, char *text,
                                      size_t text_size) {
    try {
        return picture->is_av1 ? av1().decode(*picture, text, text_size)
                               : hevc().decode(*picture, text, text_size);
    } catch (const std::bad_alloc &) {
        return TR_HEIF_NO_MEMORY;
    } catch (...) {
        return fail(TR_HEIF_DAMAGED, "the decoder gave up", text, text_size);
    }
}
