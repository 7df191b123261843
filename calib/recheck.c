#include "calib/recheck.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "calib/quality.h"
#include "geom/dense.h"
#include "image/kind.h"
#include "lens/unknown.h"

/* Chance makes a difference of this size of the focal length once in 100 checks, and of the rest
   once in 200. */
static const double SIGNIFICANT_FOCAL = 0.01;
static const double SIGNIFICANT_REST = 0.005;
/* In nine of ten checks a focal length is told that is off by so many standard deviations: the
   quantiles of 0.995 and 0.9 of the normal distribution, added; and one that is off by this part
   has to be. */
static const double TOLD_SD = 2.576 + 1.282;
static const double MUST_BE_TOLD = 0.02;
/* Neighbouring corners that are off together by more than this are no lens (lens_run.c). */
static const double MAX_CONTRADICTION_PX = 1.0;
/* What the photos tell counts where it is more than this part of what the prior tells. */
static const double LEAST_INFORMATION = 1;

const char *tr_recheck_word(tr_recheck_verdict verdict) {
    static const char *const WORDS[] = {"agrees", "differs", "not enough"};
    return WORDS[verdict];
}

double tr_chi2_chance(double chi2, int dof) {
    double x = fmax(chi2, 0);
    double term = dof % 2 ? sqrt(2 * x / TR_PI) * exp(-x / 2) : exp(-x / 2);
    double sum = dof % 2 ? erfc(sqrt(x / 2)) : term;
    for (int k = dof % 2 ? 1 : 2; k < dof; k += 2) {
        if (dof % 2) {
            sum += term;
            term *= x / (k + 2);
        } else {
            term *= x / k;
            sum += term;
        }
    }
    return fmin(sum, 1);
}

/* ---- the scatter ---- */

/* What phones in a steady hand have from photo to photo (tools/simulate/phone.h, and the phones of
   doc/measurements.md), and for how many degrees of freedom that counts beside what the profile's
   own photos told: a dozen photos tell it to within a third or worse. Of an image 1 px long; 1;
   rad; mm. */
static const double USUAL_SCATTER[TR_SCATTER_N] = {2.5e-3, 2e-3, 5e-4, 0.4};
enum { USUAL_DOF = 6 };

/* As photos will have it: both together. Where the profile tells nothing, it stays as wide as that
   of any camera. */
static void expect_scatter(tr_lens *lens) {
    tr_lens_scatter *s = &lens->scatter;
    double side_px = fmax(lens->width_px, lens->height_px);
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double usual = USUAL_SCATTER[k] * (k == TR_SCATTER_SHIFT ? side_px : 1);
        if (!(s->dof[k] > 0)) continue;
        double dof = s->dof[k] + USUAL_DOF;
        s->sd[k] = sqrt((s->dof[k] * s->sd[k] * s->sd[k] + USUAL_DOF * usual * usual) / dof);
        s->dof[k] = dof;
    }
}

/* The distortion of a phone's stabilised lens is not quite the same in one set of photos and the
   next: as much as the halves of three phones' photo sets differ (tests/test_recheck.c), k1, k2 and
   k3 together. */
static const double SESSION_DECENTRING = 1e-3;
static const double SESSION_RADIAL[3] = {0.02, -0.2, 0.7};
static const double SESSION_OWN[3] = {0.005, 0.04, 0.15};

/* What the profile leaves uncertain of the lens as a few photos of another day have it. */
static void expect_covariance(const tr_lens *stored, double C[TR_LENS_N * TR_LENS_N]) {
    static const int RADIAL[3] = {TR_K1, TR_K2, TR_K3};
    memset(C, 0, TR_LENS_N * TR_LENS_N * sizeof *C);
    if (stored->has_covariance) memcpy(C, stored->covariance, sizeof stored->covariance);
    if (stored->scatter.is_steady) return;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) {
            C[RADIAL[i] * TR_LENS_N + RADIAL[j]] += SESSION_RADIAL[i] * SESSION_RADIAL[j];
        }
        C[RADIAL[i] * (TR_LENS_N + 1)] += SESSION_OWN[i] * SESSION_OWN[i];
    }
    C[TR_P1 * (TR_LENS_N + 1)] += SESSION_DECENTRING * SESSION_DECENTRING;
    C[TR_P2 * (TR_LENS_N + 1)] += SESSION_DECENTRING * SESSION_DECENTRING;
}

/* ---- which photos ---- */

static bool refuse_camera(tr_lens_photo *p, const tr_lens *lens, tr_camera_trait by,
                          tr_error *err) {
    tr_findings its = {0};
    tr_findings profile = {0};
    bool ok = tr_camera_note(&p->camera, by, &its, err) &&
              tr_camera_note(&lens->camera, by, &profile, err);
    const void *taken = its.items;
    const void *made = profile.items;
    ok = ok && tr_note(TAKEN_OTHERWISE, &p->why_not, err, taken, made);
    tr_findings_release(&its);
    tr_findings_release(&profile);
    return ok;
}

static bool refuse_size(tr_lens_photo *p, const tr_lens *lens, tr_error *err) {
    const int w = p->width_px;
    const int h = p->height_px;
    const void *looks = p->looks.items;
    if (w == lens->height_px && h == lens->width_px) {
        return tr_note(SIZE_TURNED, &p->why_not, err, w, h, lens->width_px, lens->height_px);
    }
    return looks
               ? tr_note(SIZE_LOOKS, &p->why_not, err, w, h, lens->width_px, lens->height_px, looks)
               : tr_note(SIZE_OTHER, &p->why_not, err, w, h, lens->width_px, lens->height_px);
}

/* *n: photos that are used. */
static bool choose_photos(tr_lens_run *run, const tr_lens *lens, int *n, tr_error *err) {
    *n = 0;
    for (int i = 0; i < run->n_photos; i++) {
        tr_lens_photo *p = &run->photos[i];
        tr_camera_trait by;
        bool ok = true;
        if (!p->is_used) continue;
        if (tr_camera_differ(&p->camera, &lens->camera, &by)) {
            p->is_used = false;
            ok = refuse_camera(p, lens, by, err);
        } else if (p->width_px != lens->width_px || p->height_px != lens->height_px) {
            p->is_used = false;
            ok = refuse_size(p, lens, err);
        }
        if (!ok) return false;
        *n += p->is_used;
    }
    return true;
}

/* ---- the comparison ---- */

enum { N = TR_LENS_N };

/* Parameters that were not held in the calibration: the same that are free now. */
typedef struct {
    int n;
    int parameter[N];
} free_parameters;

static void pick(const free_parameters *f, const double *all, double *out) {
    for (int i = 0; i < f->n; i++) {
        for (int j = 0; j < f->n; j++) {
            out[i * f->n + j] = all[f->parameter[i] * N + f->parameter[j]];
        }
    }
}

/* The profile with the covariance W. */
static void make_wide(const tr_lens *stored, tr_lens *wide, free_parameters *f) {
    tr_lens unknown;
    *wide = *stored;
    *f = (free_parameters){0};
    tr_lens_unknown(&stored->camera, stored->width_px, stored->height_px, &unknown);
    for (int i = 0; i < N; i++) {
        bool is_held = stored->has_covariance && !(stored->covariance[i * (N + 1)] > 0);
        if (!is_held) f->parameter[f->n++] = i;
    }
    wide->has_covariance = true;
    memset(wide->covariance, 0, sizeof wide->covariance);
    for (int i = 0; i < f->n; i++) {
        for (int j = 0; j < f->n; j++) {
            int at = f->parameter[i] * N + f->parameter[j];
            wide->covariance[at] = unknown.covariance[at];
            if (stored->has_covariance) wide->covariance[at] += stored->covariance[at];
        }
    }
}

/* Eigenvalues on the diagonal of A (n x n, symmetric), eigenvectors in the columns of V, by
   Jacobi's rotations (Golub and Van Loan, Matrix computations, 4th ed., 2013, sec. 8.5). */
static void diagonalise(double *A, double *V, int n) {
    enum { MOST_SWEEPS = 40 };
    for (int i = 0; i < n * n; i++) V[i] = i % (n + 1) == 0;
    for (int sweep = 0; sweep < MOST_SWEEPS; sweep++) {
        for (int p = 0; p < n; p++) {
            for (int q = p + 1; q < n; q++) {
                if (A[p * n + q] == 0) continue;
                double tau = (A[q * n + q] - A[p * n + p]) / (2 * A[p * n + q]);
                double t = (tau >= 0 ? 1 : -1) / (fabs(tau) + sqrt(1 + tau * tau));
                double c = 1 / sqrt(1 + t * t);
                double s = t * c;
                for (int k = 0; k < n; k++) {
                    double a = A[k * n + p], b = A[k * n + q];
                    A[k * n + p] = c * a - s * b;
                    A[k * n + q] = s * a + c * b;
                }
                for (int k = 0; k < n; k++) {
                    double a = A[p * n + k], b = A[q * n + k];
                    A[p * n + k] = c * a - s * b;
                    A[q * n + k] = s * a + c * b;
                    double v = V[k * n + p], w = V[k * n + q];
                    V[k * n + p] = c * v - s * w;
                    V[k * n + q] = s * v + c * w;
                }
            }
        }
    }
}

/* out (n x n) = T A T', T upper triangular. */
static void transform(const double *T, const double *A, int n, double *out) {
    double half[N * N];
    double transposed[N * N];
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) transposed[i * n + j] = T[j * n + i];
    }
    tr_dense_multiply(T, A, n, n, n, half);
    tr_dense_multiply(half, transposed, n, n, n, out);
}

/* All in the axes T (x - L), in which W is the identity, T'T = W^-1. */
typedef struct {
    int n;
    double d[N], g[N];         /* x - L; the change of a focal length by its whole */
    double C[N * N];           /* of the profile */
    double information[N * N]; /* N + 1: P^-1 */
} whitened;

static bool whiten(const tr_lens *stored, const tr_lens *wide, const tr_lens *found,
                   const free_parameters *f, whitened *w) {
    double W[N * N], T[N * N], picked[N * N], P[N * N];
    double d[N], g[N];
    int n = w->n = f->n;
    pick(f, wide->covariance, W);
    if (!tr_dense_inverse_root(W, n, T)) return false;
    for (int i = 0; i < n; i++) {
        int k = f->parameter[i];
        d[i] = found->param[k] - stored->param[k];
        g[i] = k == TR_FX || k == TR_FY ? stored->param[k] : 0;
    }
    tr_dense_multiply(T, d, n, n, 1, w->d);
    tr_dense_multiply(T, g, n, n, 1, w->g);
    double expected[N * N];
    expect_covariance(stored, expected);
    pick(f, expected, picked);
    transform(T, picked, n, w->C);
    pick(f, found->covariance, picked);
    transform(T, picked, n, P);
    double root[N * N];
    if (!tr_dense_inverse_root(P, n, root)) return false;
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < n; j++) {
            double sum = 0;
            for (int k = 0; k < n; k++) sum += root[k * n + i] * root[k * n + j];
            w->information[i * n + j] = sum;
        }
    }
    return true;
}

/* t = U'y of what the photos tell, its covariance S, and h = dt / dd. Returns how many. */
static int project(const whitened *w, double t[N], double h[N], double S[N * N]) {
    double A[N * N], V[N * N];
    double column[N][N]; /* U lambda: what y is of x - L */
    double lambda[N];
    int n = w->n;
    int kept = 0;
    memcpy(A, w->information, sizeof A);
    diagonalise(A, V, n);
    for (int k = 0; k < n; k++) {
        double told = A[k * (n + 1)] - 1;
        if (!(told > LEAST_INFORMATION)) continue;
        lambda[kept] = told;
        t[kept] = h[kept] = 0;
        for (int i = 0; i < n; i++) {
            column[kept][i] = told * V[i * n + k];
            t[kept] += (told + 1) * V[i * n + k] * w->d[i];
            h[kept] += column[kept][i] * w->g[i];
        }
        kept++;
    }
    for (int i = 0; i < kept; i++) {
        for (int j = 0; j < kept; j++) {
            double sum = i == j ? lambda[i] : 0;
            for (int a = 0; a < n; a++) {
                for (int b = 0; b < n; b++) sum += column[i][a] * w->C[a * n + b] * column[j][b];
            }
            S[i * kept + j] = sum;
        }
    }
    return kept;
}

static double dot(const double *a, const double *b, int n) {
    double sum = 0;
    for (int i = 0; i < n; i++) sum += a[i] * b[i];
    return sum;
}

/* False: the photos tell nothing of the focal length. */
static bool compare(const whitened *w, tr_recheck *out) {
    double t[N], h[N], S[N * N], St[N], Sh[N];
    int n = project(w, t, h, S);
    if (n == 0 || !tr_dense_factor(S, n)) return false;
    memcpy(St, t, sizeof St);
    memcpy(Sh, h, sizeof Sh);
    tr_dense_solve_factored(S, St, n);
    tr_dense_solve_factored(S, Sh, n);
    double weight = dot(h, Sh, n);
    if (!(weight > 0)) return false;
    double z = dot(h, St, n) / sqrt(weight);
    out->focal_change = z / sqrt(weight);
    out->focal_sd = 1 / sqrt(weight);
    out->focal_chance = erfc(fabs(z) / sqrt(2));
    out->rest_dof = n - 1;
    out->rest_chi2 = fmax(0, dot(t, St, n) - z * z);
    out->rest_chance = n > 1 ? tr_chi2_chance(out->rest_chi2, n - 1) : 1;
    return true;
}

/* ---- the verdict ---- */

static bool judge(tr_recheck *r, tr_error *err) {
    const char *id = r->stored.id;
    bool is_focal = r->focal_chance < SIGNIFICANT_FOCAL;
    bool is_rest = r->rest_chance < SIGNIFICANT_REST;
    if (!r->stored.has_covariance && !tr_note(LENS_WITHOUT_COVARIANCE, &r->reasons, err, id)) {
        return false;
    }
    r->focal_told = TOLD_SD * r->focal_sd;
    if (is_focal || is_rest) {
        r->verdict = TR_RECHECK_DIFFERS;
        return (!is_focal || tr_note(RECHECK_FOCAL_DIFFERS, &r->reasons, err, id,
                                     100 * r->focal_change, fabs(r->focal_change) / r->focal_sd)) &&
               (!is_rest || tr_note(RECHECK_LENS_DIFFERS, &r->reasons, err, id));
    }
    if (!(r->focal_told <= MUST_BE_TOLD)) {
        return tr_note(RECHECK_FOCAL_UNCERTAIN, &r->reasons, err, 100 * r->focal_sd,
                       100 * MUST_BE_TOLD);
    }
    r->verdict = TR_RECHECK_AGREES;
    return true;
}

static bool check_contradiction(const tr_lens_run *run, tr_error *err) {
    double px = tr_lens_quality_contradiction_px(run);
    if (!(px > MAX_CONTRADICTION_PX)) return true;
    return tr_fail(err, TR_NO_MEASURE,
                   "the photos fit no lens, to %.1f px (neighbouring corners are off in the same "
                   "direction); does the board bend, is it another board, or were photos edited? "
                   "Use photos of the stiff board, as the camera stored them",
                   px);
}

bool tr_recheck_solve(tr_lens_run *run, const tr_lens *stored, tr_recheck *out, tr_error *err) {
    int n_used;
    tr_lens wide;
    free_parameters f;
    whitened w;
    *out = (tr_recheck){.stored = *stored, .verdict = TR_RECHECK_NOT_ENOUGH};
    if (!choose_photos(run, stored, &n_used, err)) return false;
    if (n_used == 0) {
        return tr_fail(err, TR_NO_MEASURE,
                       "no photo can be used; take %d photos of the whole board with the camera, "
                       "zoom and image size of the profile, the board tilted by 30 to 45 degrees "
                       "to different sides",
                       TR_RECHECK_MIN_PHOTOS);
    }
    if (n_used < TR_RECHECK_MIN_PHOTOS) {
        return tr_note(RECHECK_FEW_PHOTOS, &out->reasons, err, n_used, TR_RECHECK_MIN_PHOTOS);
    }
    make_wide(stored, &wide, &f);
    expect_scatter(&wide);
    run->is_steady = stored->scatter.is_steady;
    if (!tr_lens_solve_known(run, &wide, err) || !check_contradiction(run, err)) return false;
    if (!whiten(stored, &wide, &run->calibration.lens, &f, &w) || !compare(&w, out)) {
        return tr_fail(err, TR_NO_MEASURE,
                       "the photos tell nothing of the focal length; take photos in which the "
                       "board fills the image and is tilted by 30 to 45 degrees");
    }
    out->is_measured = true;
    return judge(out, err);
}

void tr_recheck_release(tr_recheck *recheck) {
    tr_findings_release(&recheck->reasons);
    *recheck = (tr_recheck){0};
}
