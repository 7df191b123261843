/* From linear light to the grey values of a photo: what camera electronics do. */
#include "tools/render/develop.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double coded(double light, tr_tone tone) {
    double c = fmin(fmax(light, 0), 1);
    if (tone == TR_TONE_LINEAR) return c;
    /* IEC 61966-2-1:1999, 5.2. */
    c = c <= 0.0031308 ? 12.92 * c : 1.055 * pow(c, 1 / 2.4) - 0.055;
    return tone == TR_TONE_S_CURVE ? c * c * (3 - 2 * c) : c;
}

/* Vignetting, uneven light and tone curve, in place: light becomes the coded image. */
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

/* ---- denoising ---- */

/* See tr_imaging. */
static bool denoise(float *image, int width, int height, const tr_imaging *imaging, tr_error *err) {
    double sigma = imaging->denoise_radius_px;
    double range = 3 * imaging->raw_noise_sd / 255;
    int reach = (int)ceil(2 * sigma);
    int side = 2 * reach + 1;
    size_t n = (size_t)width * (size_t)height;
    float *from = malloc(n * sizeof *from);
    float *weight = malloc((size_t)side * (size_t)side * sizeof *weight);
    bool ok = from && weight;
    if (ok) memcpy(from, image, n * sizeof *from);
    for (int k = 0; k < side * side && ok; k++) {
        int du = k % side - reach;
        int dv = k / side - reach;
        weight[k] = (float)exp(-(du * du + dv * dv) / (2 * sigma * sigma));
    }
    float scale = (float)(1 / (range * range));
    for (int v = 0; v < height && ok; v++) {
        for (int u = 0; u < width; u++) {
            float c = from[(long)v * width + u];
            float sum = 0;
            float whole = 0;
            for (int dv = -reach; dv <= reach; dv++) {
                const float *row = from + (long)clamp_int(v + dv, 0, height - 1) * width;
                for (int du = -reach; du <= reach; du++) {
                    float off = row[clamp_int(u + du, 0, width - 1)] - c;
                    float likeness = 1 / (1 + off * off * scale);
                    float w = weight[(dv + reach) * side + du + reach] * likeness * likeness;
                    sum += w * off;
                    whole += w;
                }
            }
            image[(long)v * width + u] = c + sum / whole;
        }
    }
    free(from);
    free(weight);
    return ok || tr_fail_memory(err);
}

/* ---- local tone mapping ---- */

/* Means of 2 reach + 1 values in a line of n, the end's value going on beyond it. */
static void mean_along(const float *from, float *to, int n, int reach) {
    double sum = 0;
    for (int k = -reach; k <= reach; k++) sum += from[clamp_int(k, 0, n - 1)];
    for (int i = 0; i < n; i++) {
        to[i] = (float)(sum / (2 * reach + 1));
        sum += from[clamp_int(i + reach + 1, 0, n - 1)] - from[clamp_int(i - reach, 0, n - 1)];
    }
}

/* Three means one after the other are nearly a Gaussian: each adds ((2 reach + 1)^2 - 1) / 12 to
   its variance. */
static bool blur_widely(float *image, int width, int height, double sigma_px, tr_error *err) {
    int reach = (int)lrint((sqrt(4 * sigma_px * sigma_px + 1) - 1) / 2);
    size_t longest = (size_t)(width > height ? width : height);
    float *line = malloc(2 * longest * sizeof *line);
    if (!line) return tr_fail_memory(err);
    for (int k = 0; k < width + height; k++) {
        bool is_row = k < height;
        int n = is_row ? width : height;
        long stride = is_row ? 1 : width;
        float *at = image + (is_row ? (long)k * width : k - height);
        for (int i = 0; i < n; i++) line[i] = at[i * stride];
        mean_along(line, line + longest, n, reach);
        mean_along(line + longest, line, n, reach);
        mean_along(line, line + longest, n, reach);
        for (int i = 0; i < n; i++) at[i * stride] = line[longest + (size_t)i];
    }
    free(line);
    return true;
}

/* See tr_imaging. */
static bool map_tone(float *image, int width, int height, const tr_imaging *imaging,
                     tr_error *err) {
    double k = imaging->local_contrast;
    size_t n = (size_t)width * (size_t)height;
    float *base = malloc(n * sizeof *base);
    if (!base) return tr_fail_memory(err);
    memcpy(base, image, n * sizeof *base);
    bool ok = blur_widely(base, width, height, imaging->local_radius_px, err);
    for (size_t i = 0; i < n && ok; i++) {
        double b = base[i];
        image[i] = (float)(0.5 + (1 - k) * (b - 0.5) + (1 + k) * (image[i] - b));
    }
    free(base);
    return ok;
}

static void add_noise(float *image, int width, int height, double sd, uint64_t seed) {
    for (long i = 0; i < (long)width * height; i++) {
        image[i] = (float)(image[i] + sd / 255 * normal_noise(seed, (uint64_t)i));
    }
}

/* All that works on the coded image but the last noise. */
static bool process(float *image, int width, int height, const tr_imaging *m, tr_error *err) {
    if (m->raw_noise_sd > 0) add_noise(image, width, height, m->raw_noise_sd, ~m->seed);
    if (m->raw_noise_sd > 0 && m->denoise_radius_px > 0 && !denoise(image, width, height, m, err)) {
        return false;
    }
    if (m->local_contrast > 0 && m->local_radius_px > 0 &&
        !map_tone(image, width, height, m, err)) {
        return false;
    }
    return m->sharpen == 0 || m->sharpen_radius_px <= 0 ||
           sharpen(image, width, height, m->sharpen, m->sharpen_radius_px, err);
}

bool tr_develop(float *light, int width, int height, const tr_imaging *imaging, tr_image *out,
                tr_error *err) {
    *out = (tr_image){0};
    expose(light, width, height, imaging);
    if (!process(light, width, height, imaging, err)) return false;
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
