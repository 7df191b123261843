/* From linear light to the grey values of a photo: what camera electronics do. */
#include "tools/render/develop.h"

#include <math.h>
#include <stdlib.h>

static double coded(double light, tr_tone tone) {
    double c = fmin(fmax(light, 0), 1);
    if (tone == TR_TONE_LINEAR) return c;
    /* IEC 61966-2-1:1999, 5.2. */
    c = c <= 0.0031308 ? 12.92 * c : 1.055 * pow(c, 1 / 2.4) - 0.055;
    return tone == TR_TONE_S_CURVE ? c * c * (3 - 2 * c) : c;
}

/* Vignetting, uneven light and tone curve, in place. */
static void expose(float *image, int width, int height, const tr_imaging *imaging) {
    double half_u = width / 2.0, half_v = height / 2.0;
    double diagonal2 = half_u * half_u + half_v * half_v;
    for (int v = 0; v < height; v++) {
        double dv = v + 0.5 - half_v;
        for (int u = 0; u < width; u++) {
            double du = u + 0.5 - half_u;
            double factor =
                imaging->exposure * (1 - imaging->vignetting * (du * du + dv * dv) / diagonal2) *
                (1 + imaging->gradient[0] * du / half_u + imaging->gradient[1] * dv / half_v);
            float *at = image + (long)v * width + u;
            *at = (float)coded(*at * factor, imaging->tone);
        }
    }
}

/* ---- sharpening ---- */

static int clamp_int(int x, int low, int high) {
    return x < low ? low : x > high ? high : x;
}

/* A row blurred along u; beyond the ends the end's value goes on. */
static void blur_row(const float *row, int width, const double *weight, int reach, float *out) {
    for (int u = 0; u < width; u++) {
        double sum = weight[0] * row[u];
        for (int k = 1; k <= reach; k++) {
            sum += weight[k] *
                   (row[clamp_int(u - k, 0, width - 1)] + row[clamp_int(u + k, 0, width - 1)]);
        }
        out[u] = (float)sum;
    }
}

/* c + amount (c - blurred c), in place. */
static bool sharpen(float *image, int width, int height, double amount, double sigma_px,
                    tr_error *err) {
    int reach = (int)ceil(4 * sigma_px);
    size_t n = (size_t)width * (size_t)height;
    double *weight = malloc(((size_t)reach + 1) * sizeof *weight);
    float *along_u = malloc(n * sizeof *along_u);
    bool ok = weight && along_u;
    double whole = 0;
    for (int k = 0; k <= reach && ok; k++) {
        weight[k] = exp(-k * k / (2 * sigma_px * sigma_px));
        whole += k == 0 ? weight[k] : 2 * weight[k];
    }
    for (int k = 0; k <= reach && ok; k++) weight[k] /= whole;
    for (int v = 0; v < height && ok; v++) {
        blur_row(image + (long)v * width, width, weight, reach, along_u + (long)v * width);
    }
    for (int v = 0; v < height && ok; v++) {
        for (int u = 0; u < width; u++) {
            double sum = weight[0] * along_u[(long)v * width + u];
            for (int k = 1; k <= reach; k++) {
                sum += weight[k] * (along_u[(long)clamp_int(v - k, 0, height - 1) * width + u] +
                                    along_u[(long)clamp_int(v + k, 0, height - 1) * width + u]);
            }
            float *at = image + (long)v * width + u;
            *at = (float)(*at + amount * (*at - sum));
        }
    }
    free(weight);
    free(along_u);
    return ok || tr_fail_memory(err);
}

/* ---- noise ---- */

/* SplitMix64 (Steele, Lea, Flood, OOPSLA 2014) as a function of the count, so that each pixel's
   noise is its own. */
static uint64_t scrambled(uint64_t seed, uint64_t count) {
    uint64_t z = seed * 0xd1342543de82ef95u + (count + 1) * 0x9e3779b97f4a7c15u;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

/* Mean 0, standard deviation 1 (Box and Muller, Ann. Math. Stat. 29, 1958). */
static double normal_noise(uint64_t seed, uint64_t count) {
    uint64_t bits = scrambled(seed, count);
    double a = ((double)(bits >> 32) + 1) * 0x1p-32;
    double b = (double)(bits & 0xffffffffu) * 0x1p-32;
    return sqrt(-2 * log(a)) * cos(2 * TR_PI * b);
}

bool tr_develop(float *light, int width, int height, const tr_imaging *imaging, tr_image *out,
                tr_error *err) {
    *out = (tr_image){0};
    expose(light, width, height, imaging);
    if (imaging->sharpen != 0 && imaging->sharpen_radius_px > 0 &&
        !sharpen(light, width, height, imaging->sharpen, imaging->sharpen_radius_px, err)) {
        return false;
    }
    if (!tr_image_init(out, width, height, err)) return false;
    for (long i = 0; i < (long)width * height; i++) {
        double grey = 255.0 * light[i];
        if (imaging->noise_sd > 0) {
            grey += imaging->noise_sd * normal_noise(imaging->seed, (uint64_t)i);
        }
        out->px[i] = (uint8_t)lrint(fmin(fmax(grey, 0), 255));
    }
    return true;
}
