#include "adjust/scatter.h"

#include <stdlib.h>

#include "adjust/camera.h"
#include "base/array.h"

/* Estimates are repeated until no prior changes by more than this part, and so often at most. */
static const double SMALL_CHANGE = 0.1;
enum { MAX_PASSES = 8 };
/* More photos than these tell no more worth knowing; each costs a solution for nine variances. */
enum { MAX_PHOTOS = 24 };
/* A close enough solution, in standard deviations. */
static const double SMALL_STEP = 0.01;

/* What a profile that is contradicted counts for. */
static const double LEAST_DOF = 1e-3;

/* Quantile of the normal distribution beyond which scatter is no chance: once in 3,000. */
static const double SIGNIFICANT = 3.4;

/* Of one lens and one kind of scatter. */
typedef struct {
    double square;  /* v'v */
    double sum;     /* of v */
    double freedom; /* r */
    int n;
} component_sums;

/* The photos that are asked, one in `every`. */
static bool is_asked(const tr_network *net, int photo, int every) {
    return photo % every == 0 && !net->rigs[net->photos[photo].rig].is_held;
}

static int ask_every(const tr_network *net) {
    return 1 + (net->n_photos - 1) / MAX_PHOTOS;
}

/* The unknowns of the photos that are asked, as functions of one unknown each. */
static int list_unknowns(const tr_network *net, tr_net_unknown *unknowns,
                         tr_net_function *functions) {
    static const double one = 1;
    int every = ask_every(net);
    int n = 0;
    for (int i = 0; i < net->n_photos; i++) {
        for (int k = 0; k < TR_PHOTO_SCATTER_N && is_asked(net, i, every); k++) {
            if (!net->photos[i].is_free[k]) continue;
            unknowns[n] = (tr_net_unknown){TR_NET_PHOTO, i, k};
            functions[n] = (tr_net_function){&unknowns[n], &one, 1};
            n++;
        }
    }
    return n;
}

/* sums: TR_SCATTER_N a lens. A focal length that all photos have in common is no scatter: it is
   another lens, for which the lens's own prior stands. */
static void sum_up(const tr_network *net, const tr_net_unknown *unknowns, const double *variances,
                   int n, component_sums *sums) {
    for (int i = 0; i < net->n_lenses * TR_SCATTER_N; i++) sums[i] = (component_sums){0};
    for (int i = 0; i < n; i++) {
        const tr_net_photo *photo = &net->photos[unknowns[i].index];
        int k = unknowns[i].component;
        component_sums *c = &sums[photo->lens * TR_SCATTER_N + tr_camera_scatter_of(k)];
        double s2 = photo->sd[k] * photo->sd[k];
        c->square += photo->value[k] * photo->value[k];
        c->sum += photo->value[k];
        c->freedom += fmax(0, 1 - variances[i] / s2);
        c->n++;
    }
    for (int i = 0; i < net->n_lenses; i++) {
        component_sums *c = &sums[i * TR_SCATTER_N + TR_SCATTER_FOCAL];
        if (c->n < 2) continue;
        c->square -= c->sum * c->sum / c->n;
        c->freedom *= (c->n - 1.0) / c->n;
    }
}

bool tr_scatter_is_larger(double sd, double dof, double known, double dof_known) {
    double a = 2 / (9 * dof);
    double b = 2 / (9 * dof_known);
    double root = known > 0 ? cbrt(sd * sd / (known * known)) : 0;
    return ((1 - b) * root - (1 - a)) / sqrt(b * root * root + a) > SIGNIFICANT;
}

/* The estimate of one component, and the degrees of freedom that it rests on. */
static double estimate(const tr_lens *lens, int kind, const component_sums *c, double *freedom) {
    double known;
    double dof;
    tr_lens_scatter_known(lens, kind, &known, &dof);
    /* A profile that the job's photos contradict counts no more than none. */
    bool is_told = lens->scatter.dof[kind] > 0 && c->freedom >= TR_SCATTER_LEAST_DOF;
    double own = is_told ? sqrt(fmax(0, c->square) / c->freedom) : 0;
    if (is_told && tr_scatter_is_larger(own, c->freedom, known, lens->scatter.dof[kind])) {
        dof = LEAST_DOF;
    }
    *freedom = dof + c->freedom;
    return sqrt((dof * known * known + c->square) / *freedom);
}

/* Priors of all photos from the sums. True where one changed by more than a little. */
static bool set_priors(const tr_adjust_input *in, tr_network *net, const component_sums *sums,
                       bool is_last) {
    bool has_changed = false;
    for (int i = 0; i < net->n_photos; i++) {
        tr_net_photo *photo = &net->photos[i];
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            int kind = tr_camera_scatter_of(k);
            double freedom;
            if (!(photo->sd[k] > 0)) continue;
            double sd = estimate(&in->lenses[photo->lens], kind,
                                 &sums[photo->lens * TR_SCATTER_N + kind], &freedom);
            double wide = tr_lens_scatter_sd(&in->lenses[photo->lens], kind);
            if (is_last) sd = fmax(sd, fmin(wide, tr_lens_scatter_limit(sd, freedom)));
            has_changed = has_changed || fabs(sd - photo->sd[k]) > SMALL_CHANGE * photo->sd[k];
            photo->sd[k] = sd;
        }
    }
    return has_changed;
}

/* What the photos say alone. */
static void note_scatter(const tr_network *net, const component_sums *sums, tr_lens_scatter *out) {
    for (int i = 0; i < net->n_lenses; i++) {
        for (int k = 0; k < TR_SCATTER_N; k++) {
            const component_sums *c = &sums[i * TR_SCATTER_N + k];
            out[i].dof[k] = c->freedom;
            out[i].sd[k] = c->freedom > 0 ? sqrt(fmax(0, c->square) / c->freedom) : 0;
        }
    }
}

int tr_scatter_find_far(const tr_adjust_input *in, const tr_adjustment *adj, bool *is_far) {
    int n = 0;
    for (int i = 0; i < in->n_photos; i++) {
        const tr_net_photo *photo = &adj->net.photos[i];
        bool is_this = false;
        for (int k = 0; k < TR_PHOTO_SCATTER_N && adj->photo_placed[i]; k++) {
            is_this = is_this || tr_camera_is_far(&in->lenses[photo->lens], photo, k);
        }
        if (is_far) is_far[i] = is_this;
        n += is_this;
    }
    return n;
}

bool tr_scatter_estimate(const tr_adjust_input *in, tr_adjustment *adj, tr_lsq_result *result,
                         tr_error *err) {
    tr_network *net = &adj->net;
    bool ok = false;
    int most = TR_PHOTO_SCATTER_N * net->n_photos;
    tr_net_unknown *unknowns = tr_array(most, sizeof *unknowns);
    tr_net_function *functions = tr_array(most, sizeof *functions);
    double *variances = tr_array(most, sizeof *variances);
    component_sums *sums = tr_array((long)TR_SCATTER_N * net->n_lenses, sizeof *sums);
    tr_net_options options = {.huber = TR_ADJUST_HUBER, .small_step = SMALL_STEP};
    if (!unknowns || !functions || !variances || !sums) {
        tr_fail_memory(err);
        goto out;
    }
    int n = list_unknowns(net, unknowns, functions);
    bool goes_on = n > 0;
    for (int pass = 0; pass < MAX_PASSES && goes_on; pass++) {
        tr_net_solution *s = tr_net_solution_new(net, &options, result, err);
        bool is_told = s && tr_net_solution_variances(s, functions, n, variances, err);
        tr_net_solution_free(s);
        if (!is_told) goto out;
        sum_up(net, unknowns, variances, n, sums);
        goes_on = set_priors(in, net, sums, false);
    }
    if (n > 0) {
        note_scatter(net, sums, adj->scatter);
        (void)set_priors(in, net, sums, true);
        if (!tr_network_solve(net, &options, result, err)) goto out;
    }
    ok = true;
out:
    free(unknowns);
    free(functions);
    free(variances);
    free(sums);
    return ok;
}
