#include "marks/edge_model.h"

#include <math.h>
#include <stdbool.h>

#include "marks/lanes.h"

enum { MAX = TR_EDGE_MAX_PIXELS, N_TONE = TR_EDGE_N_TONE, N_BASIS = TR_EDGE_N_BASIS };

/* Of one normal distribution, pixel by pixel: the part below, and the density. */
typedef struct {
    float t[MAX], below[MAX], density[MAX];
} normal_row;

static void fill_normal(normal_row *row, int n) {
    for (int i = 0; i < n; i++) row->below[i] = tr_normal_below(row->t[i], &row->density[i]);
}

/* What the bivariate normal distribution below (x, y) has over the product of its margins, divided
   by the product of their densities, for the correlation r: the tetrachoric series sum r^(k+1) /
   (k+1)! He_k(x) He_k(y),   k = 0 .. 4. Source: Pearson, Phil. Trans. A 195, 1900. Good to 1e-3 for
   |r| < 0.7. by_x: derivative of it times the density, divided by both densities: He_k becomes
   -He_(k+1). */
static inline float tetrachoric(float r, float x, float y, float *by_x) {
    float x2 = x * x;
    float y2 = y * y;
    float hx2 = x2 - 1;
    float hx3 = x * (x2 - 3);
    float hx4 = x2 * (x2 - 6) + 3;
    float hx5 = x * (x2 * (x2 - 10) + 15);
    float c0 = r;
    float c1 = c0 * r / 2 * y;
    float r3 = r * r * r;
    float c2 = r3 / 6 * (y2 - 1);
    float c3 = r3 * r / 24 * y * (y2 - 3);
    float c4 = r3 * r * r / 120 * (y2 * (y2 - 6) + 3);
    *by_x = -(c0 * x + c1 * hx2 + c2 * hx3 + c3 * hx4 + c4 * hx5);
    return c0 + c1 * x + c2 * hx2 + c3 * hx3 + c4 * hx4;
}

/* The blurred pattern: light, 0 black .. 1 white, and its derivatives. */
typedef struct {
    float light[MAX], by_across[MAX], by_sigma[MAX];
} light_row;

/* Of the three cells along the edge, how much of each is seen. */
typedef struct {
    normal_row end[2]; /* where the cell beside the edge begins and ends */
    float share[3][MAX];
} shares;

static void fill_shares(const tr_edge_model *m, const tr_edge_pixels *p, int n, shares *s) {
    float scale = 1 / m->sigma_along;
    for (int i = 0; i < n; i++) {
        s->end[0].t[i] = (p->along[i] + 0.5F) * scale;
        s->end[1].t[i] = (p->along[i] - 0.5F) * scale;
    }
    for (int k = 0; k < 2; k++) fill_normal(&s->end[k], n);
    for (int i = 0; i < n; i++) {
        s->share[0][i] = 1 - s->end[0].below[i];
        s->share[2][i] = s->end[1].below[i];
        s->share[1][i] = 1 - s->share[0][i] - s->share[2][i];
    }
}

/* Adds the steps of the three columns of cells at one height. */
static void add_steps(const tr_edge_model *m, const tr_edge_pixels *p, int n, const shares *s,
                      const float step[3], float at_px, light_row *out) {
    normal_row z;
    float slope[MAX];
    float scale = 1 / m->sigma_px;
    for (int i = 0; i < n; i++) z.t[i] = (p->across[i] - at_px) * scale;
    fill_normal(&z, n);
    for (int i = 0; i < n; i++) {
        slope[i] = s->share[0][i] * step[0] + s->share[1][i] * step[1] + s->share[2][i] * step[2];
        out->light[i] += slope[i] * z.below[i];
    }
    for (int b = 0; b < 2; b++) {
        float change = step[b + 1] - step[b];
        if (change == 0) continue;
        const normal_row *end = &s->end[b];
        for (int i = 0; i < n; i++) {
            float by_z;
            float more = tetrachoric(m->skew, z.t[i], end->t[i], &by_z);
            float crossing = change * end->density[i];
            out->light[i] += crossing * z.density[i] * more;
            slope[i] += crossing * by_z;
        }
    }
    for (int i = 0; i < n; i++) {
        float by_across = slope[i] * z.density[i] * scale;
        out->by_across[i] += by_across;
        out->by_sigma[i] -= by_across * z.t[i];
    }
}

static void fill_light(const tr_edge_model *m, const tr_edge_pixels *p, int n, light_row *out) {
    const float at_px[3] = {-m->cell_px[0], 0, m->cell_px[1]};
    shares s;
    fill_shares(m, p, n, &s);
    for (int i = 0; i < n; i++) {
        out->light[i] = s.share[0][i] * m->colour[0][0] + s.share[1][i] * m->colour[1][0] +
                        s.share[2][i] * m->colour[2][0];
        out->by_across[i] = out->by_sigma[i] = 0;
    }
    for (int k = 0; k < 3; k++) {
        float step[3];
        bool is_any = false;
        for (int t = 0; t < 3; t++) {
            step[t] = m->colour[t][k + 1] - m->colour[t][k];
            is_any = is_any || step[t] != 0;
        }
        if (is_any) add_steps(m, p, n, &s, step, at_px[k], out);
    }
}

void tr_edge_model_basis(const tr_edge_model *model, const tr_edge_pixels *pixels,
                         tr_edge_basis basis) {
    light_row row;
    int n = pixels->n;
    fill_light(model, pixels, n, &row);
    for (int i = 0; i < n; i++) {
        float by_light;
        float by_tone[N_TONE];
        basis[TR_EDGE_LEVEL][i] = 1;
        basis[TR_EDGE_STEP][i] = tr_edge_tone(model->tone, row.light[i], &by_light, by_tone);
        basis[TR_EDGE_PLACE][i] = -by_light * row.by_across[i];
        basis[TR_EDGE_SIGMA][i] = by_light * row.by_sigma[i];
        basis[TR_EDGE_TONE][i] = by_tone[0];
        basis[TR_EDGE_TONE + 1][i] = by_tone[1];
        basis[TR_EDGE_TONE + 2][i] = by_tone[2];
        basis[TR_EDGE_GREY][i] = pixels->grey[i];
    }
}

void tr_edge_products(tr_edge_basis basis, int n, double product[N_BASIS][N_BASIS]) {
    int whole = 0;
    for (int r = 0; r < N_BASIS; r++) whole = tr_fill_lanes(basis[r], n);
    for (int r = 0; r < N_BASIS; r++) {
        for (int c = 0; c <= r; c++) product[r][c] = tr_sum_of_products(basis[r], basis[c], whole);
    }
}

double tr_edge_half_light(const float tone[N_TONE]) {
    float lo = 0;
    float hi = 1;
    for (int k = 0; k < 24; k++) {
        float mid = (lo + hi) / 2;
        float by_light;
        float by_tone[N_TONE];
        bool is_below = tr_edge_tone(tone, mid, &by_light, by_tone) < 0;
        lo = is_below ? mid : lo;
        hi = is_below ? hi : mid;
    }
    return (double)lo;
}
