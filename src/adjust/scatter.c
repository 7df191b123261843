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
static const tr_net_options OPTIONS = {.huber = TR_ADJUST_HUBER, .small_step = 0.01};

/* No photo shows a camera that changes by so small a part of what an unknown one may. */
static const double LEAST_PART = 1e-3;

/* What a profile that is contradicted counts for. */
static const double LEAST_DOF = 1e-3;

/* Quantile of the normal distribution beyond which scatter is no chance: once in 3,000. */
static const double SIGNIFICANT = 3.4;

/* Of one lens and one kind of scatter. */
typedef struct {
    double square;  /* v'v */
    double sum;     /* of v */
    double freedom; /* r */
    double most;    /* no prior may become wider; 0: none has that bound */
    int n;
} component_sums;

/* The unknowns of all photos that are asked, each a function of its own, their variances, and the
   sums of each lens and kind. */
typedef struct {
    tr_net_unknown *unknowns;
    tr_net_function *functions;
    double *variances;
    component_sums *sums;
    int n;
} work;

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
    for (int i = 0; i < net->n_lenses * TR_SCATTER_N; i++) {
        sums[i] = (component_sums){.most = sums[i].most};
    }
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

/* The estimate of an unknown's standard deviation, or its upper limit. */
static double wanted_sd(const tr_lens *lens, const component_sums *sums, int kind, bool to_limit) {
    double freedom;
    double sd = estimate(lens, kind, &sums[kind], &freedom);
    double wide = tr_lens_scatter_sd(lens, kind);
    if (to_limit) sd = fmax(sd, fmin(wide, tr_lens_scatter_limit(sd, freedom)));
    if (sums[kind].most > 0) sd = fmin(sd, sums[kind].most);
    return fmax(sd, LEAST_PART * wide);
}

/* Priors of all photos from the sums. step: what part of the way they go (limits that went all of
   it would overshoot, time after time). True where one is off by more than a little. */
static bool set_priors(const tr_adjust_input *in, tr_network *net, const component_sums *sums,
                       bool to_limit, double step) {
    bool is_off = false;
    for (int i = 0; i < net->n_photos; i++) {
        tr_net_photo *photo = &net->photos[i];
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            if (!(photo->sd[k] > 0)) continue;
            double wanted =
                wanted_sd(&in->lenses[photo->lens], sums + (long)photo->lens * TR_SCATTER_N,
                          tr_camera_scatter_of(k), to_limit);
            is_off = is_off || fabs(wanted - photo->sd[k]) > SMALL_CHANGE * photo->sd[k];
            photo->sd[k] *= pow(wanted / photo->sd[k], step);
        }
    }
    return is_off;
}

/* From here on no prior becomes wider than it is, or than that of an unknown camera: what the
   photos do not tell would grow from pass to pass. */
static void bound_priors(const tr_adjust_input *in, const tr_network *net, component_sums *sums) {
    for (int i = 0; i < net->n_photos; i++) {
        const tr_net_photo *photo = &net->photos[i];
        for (int k = 0; k < TR_PHOTO_SCATTER_N; k++) {
            int kind = tr_camera_scatter_of(k);
            double *most = &sums[photo->lens * TR_SCATTER_N + kind].most;
            double wide = tr_lens_scatter_sd(&in->lenses[photo->lens], kind);
            *most = fmax(*most, fmax(photo->sd[k], wide));
        }
    }
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

/* Repeats the adjustment and the setting of its priors, at the estimates or at their limits, until
   they no longer change each other. */
static bool settle(const tr_adjust_input *in, tr_network *net, work *w, bool to_limit,
                   tr_lsq_result *result, tr_error *err) {
    bool goes_on = true;
    for (int pass = 0; pass < MAX_PASSES && goes_on; pass++) {
        tr_net_solution *s = tr_net_solution_new(net, &OPTIONS, result, err);
        bool is_told = s && tr_net_solution_variances(s, w->functions, w->n, w->variances, err);
        tr_net_solution_free(s);
        if (!is_told) return false;
        sum_up(net, w->unknowns, w->variances, w->n, w->sums);
        goes_on = set_priors(in, net, w->sums, to_limit, to_limit ? 0.5 : 1);
    }
    return true;
}

static bool estimate_all(const tr_adjust_input *in, tr_adjustment *adj, work *w,
                         tr_lsq_result *result, tr_error *err) {
    if (!settle(in, &adj->net, w, false, result, err)) return false;
    note_scatter(&adj->net, w->sums, adj->scatter);
    (void)set_priors(in, &adj->net, w->sums, true, 1);
    bound_priors(in, &adj->net, w->sums);
    return settle(in, &adj->net, w, true, result, err) &&
           tr_network_solve(&adj->net, &OPTIONS, result, err);
}

bool tr_scatter_estimate(const tr_adjust_input *in, tr_adjustment *adj, tr_lsq_result *result,
                         tr_error *err) {
    tr_network *net = &adj->net;
    int most = TR_PHOTO_SCATTER_N * net->n_photos;
    work w = {tr_array(most, sizeof *w.unknowns), tr_array(most, sizeof *w.functions),
              tr_array(most, sizeof *w.variances),
              tr_array((long)TR_SCATTER_N * net->n_lenses, sizeof *w.sums), 0};
    bool ok = w.unknowns && w.functions && w.variances && w.sums;
    if (ok) {
        w.n = list_unknowns(net, w.unknowns, w.functions);
        ok = w.n == 0 || estimate_all(in, adj, &w, result, err);
    } else {
        tr_fail_memory(err);
    }
    free(w.unknowns);
    free(w.functions);
    free(w.variances);
    free(w.sums);
    return ok;
}
