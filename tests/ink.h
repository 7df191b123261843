/* Prints and photos of them as they come out of a shop's printer and a phone: ink that grows over
   the paper, blur, a tone curve that adapts to what is about a pixel, rims of sharpening,
   denoising, JPEG. Drawn frontal, with exact truth. */
#ifndef TR_TESTS_INK_H
#define TR_TESTS_INK_H

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "check.h"
#include "draw.h"
#include "image/image.h"
#include "tags/family.h"

typedef struct {
    const char *name;
    double growth_px;          /* of black over white; less than 0: of white */
    double blur_px[2];         /* along the tag's axes, before the camera's development */
    double sharpen, radius_px; /* unsharp mask after the tone curve */
    double local;   /* 0 .. 1: how much of the contrast to the surroundings is flattened */
    double denoise; /* 0 .. 1: part of a 3 x 3 mean in each pixel */
    int jpeg;       /* quality; 0: none */
    double noise_sd;
} ink_case;

/* Cells of a print about the middle of it; n x n, true white. */
typedef struct {
    int n;
    bool is_white[TR_TAG_MAX_CELLS][TR_TAG_MAX_CELLS]; /* [row from the bottom][column] */
    double cell_px, turn_rad;
    double middle_px[2];
} ink_print;

static inline bool ink_is_white_cell(const ink_print *p, int i, int j) {
    if (i < 0 || j < 0 || i >= p->n || j >= p->n) return true;
    return p->is_white[j][i];
}

/* Whether ink lies at (x, y) cells from the print's lower left. growth in cells. */
static inline bool ink_is_white(const ink_print *p, double x, double y, double growth) {
    int i = (int)floor(x);
    int j = (int)floor(y);
    bool is_white = ink_is_white_cell(p, i, j);
    bool grows = growth > 0 ? is_white : !is_white;
    double reach = fabs(growth);
    if (!grows || reach == 0) return is_white;
    for (int b = j - 1; b <= j + 1; b++) {
        for (int a = i - 1; a <= i + 1; a++) {
            if (ink_is_white_cell(p, a, b) == is_white) continue;
            double dx = fmax(0, fmax(a - x, x - (a + 1)));
            double dy = fmax(0, fmax(b - y, y - (b + 1)));
            if (hypot(dx, dy) < reach) return !is_white;
        }
    }
    return is_white;
}

static inline void ink_blur(float *v, int width, int height, double sigma, bool is_along_u) {
    int reach = (int)ceil(4 * sigma);
    float *out = malloc((size_t)width * (size_t)height * sizeof *out);
    float *kernel = malloc((size_t)(2 * reach + 1) * sizeof *kernel);
    for (int k = -reach; k <= reach; k++) {
        kernel[k + reach] = (float)exp(-k * k / (2 * sigma * sigma));
    }
    for (int y = 0; y < height; y++) {
        for (int x = 0; x < width; x++) {
            float sum = 0;
            float weight = 0;
            for (int k = -reach; k <= reach; k++) {
                int a = is_along_u ? x + k : x;
                int b = is_along_u ? y : y + k;
                if (a < 0 || b < 0 || a >= width || b >= height) continue;
                sum += kernel[k + reach] * v[b * width + a];
                weight += kernel[k + reach];
            }
            out[y * width + x] = sum / weight;
        }
    }
    memcpy(v, out, (size_t)width * (size_t)height * sizeof *v);
    free(kernel);
    free(out);
}

/* A photo of the print; free with tr_image_release. */
static inline tr_image ink_photo(const ink_print *p, const ink_case *c, int side, tr_draw *d) {
    enum { SUB = 8 };
    size_t n = (size_t)side * (size_t)side;
    float *v = malloc(n * sizeof *v);
    float *wide = malloc(n * sizeof *wide);
    tr_image image;
    assert_true(tr_image_init(&image, side, side, NULL));
    for (int y = 0; y < side; y++) {
        for (int x = 0; x < side; x++) {
            int white = 0;
            double near = (1.5 + fabs(c->growth_px)) / p->cell_px;
            for (int k = 0; k < SUB * SUB; k++) {
                double u = x - 0.5 + (k % SUB + 0.5) / SUB - p->middle_px[0];
                double w = y - 0.5 + ((int)(k / SUB) + 0.5) / SUB - p->middle_px[1];
                double a = (cos(p->turn_rad) * u + sin(p->turn_rad) * w) / p->cell_px + p->n / 2.0;
                double b = (sin(p->turn_rad) * u - cos(p->turn_rad) * w) / p->cell_px + p->n / 2.0;
                bool is_white = ink_is_white(p, a, b, c->growth_px / p->cell_px);
                if (k == 0 && fabs(a - round(a)) > near && fabs(b - round(b)) > near) {
                    white = is_white * SUB * SUB; /* no edge in this pixel */
                    break;
                }
                white += is_white;
            }
            v[y * side + x] = (float)(0.05 + 0.75 * white / (SUB * SUB));
        }
    }
    for (int k = 0; k < 2; k++) ink_blur(v, side, side, c->blur_px[k], k == 0);
    for (size_t i = 0; i < n; i++) v[i] = (float)(pow((double)v[i], 1 / 2.2) * 255);
    if (c->local > 0) {
        memcpy(wide, v, n * sizeof *v);
        for (int k = 0; k < 2; k++) ink_blur(wide, side, side, 8, k == 0);
    }
    for (size_t i = 0; i < n && c->local > 0; i++)
        v[i] += (float)(c->local * 0.5 * (140 - (double)wide[i]));
    for (size_t i = 0; i < n; i++) v[i] += (float)(c->noise_sd * draw_normal(d));
    if (c->denoise > 0) {
        memcpy(wide, v, n * sizeof *v);
        for (int k = 0; k < 2; k++) ink_blur(wide, side, side, 0.8, k == 0);
        for (size_t i = 0; i < n; i++) {
            v[i] += (float)(c->denoise * ((double)wide[i] - (double)v[i]));
        }
    }
    if (c->sharpen > 0) {
        memcpy(wide, v, n * sizeof *v);
        for (int k = 0; k < 2; k++) ink_blur(wide, side, side, c->radius_px, k == 0);
        for (size_t i = 0; i < n; i++) {
            v[i] += (float)(c->sharpen * ((double)v[i] - (double)wide[i]));
        }
    }
    for (size_t i = 0; i < n; i++) image.px[i] = (uint8_t)lrint(fmax(0, fmin(255, (double)v[i])));
    free(v);
    free(wide);
    if (c->jpeg > 0) {
        char path[] = "/tmp/trammel-ink-XXXXXX";
        uint8_t *data;
        size_t size;
        tr_error err = {0};
        int file = mkstemp(path);
        assert_true(file >= 0);
        close(file);
        assert_true(tr_image_write_jpeg(&image, c->jpeg, path, &err));
        assert_true(tr_file_read(path, 1u << 24, &data, &size, &err));
        tr_image_release(&image);
        assert_true(tr_image_decode(data, size, path, &image, &err));
        free(data);
        unlink(path);
    }
    return image;
}

#endif
