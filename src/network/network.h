/* The joint adjustment: where are the sheets, the cameras and the lens, given the marks seen in the
   photos? Calibrating a lens, checking a placement and asking what does not fit differ only in
   which unknowns are free and which priors they carry.

   An observation says that certain points of a sheet were seen at certain pixels of a photo:
     p_world  = world_from_sheet * displaced(shape(p_sheet))      sheet.h, offset.h
     p_camera = camera_from_rig * rig_from_world * (p_world - s travel)     rig.h, camera.h
     residual = W (shifted(project(lens, exp([s turn]x) p_camera)) - measured)    lens.h, photo.h
   with W'W the inverse covariance of the measured pixels. Each of these is a stage of the way of a
   point, and belongs to one kind of unknown; the files named, one a kind, state it. The table of
   kinds and the order of stages stand in unknowns.h.

   A length is a known distance between two points of sheets, such as two tags of a scale bar:
     residual = (|p_world_b - p_world_a| - length) / sd

   World frame: the floor, z up; which sheet holds it in place (its x, y and yaw fixed) is up to the
   caller. Small rotations turn about the axes of the world (sheets) or of the camera (rigs,
   cameras): R_new = exp([d]x) R. Units: mm, rad, px. */
#ifndef TR_NETWORK_NETWORK_H
#define TR_NETWORK_NETWORK_H

#include "base/error.h"
#include "geom/geom.h"
#include "lens/lens.h"
#include "network/lsq.h"
#include "network/unknowns.h"

/* The most points of one observation: the four corners of a tag, whose errors go together. */
enum { TR_OBS_MAX_POINTS = 4 };

/* A known distance between two points. */
typedef struct {
    int sheet[2];
    tr_vec2 p_sheet_mm[2];
    int offset[2]; /* of each end: its mark's tr_net_offset; -1: none */
    double length_mm, sd_mm;
    bool is_used;
} tr_net_length;

/* What an observation is of. */
typedef enum {
    TR_NET_POINT, /* a single point, such as a corner of a checkerboard */
    TR_NET_TAG    /* a flat rectangle with size and direction: its four corners */
} tr_net_mark_kind;

typedef struct {
    int photo, sheet;
    int mark; /* whichever it is of, as the caller numbers them; the network does not ask */
    tr_net_mark_kind kind;
    int n_points; /* 1 .. TR_OBS_MAX_POINTS */
    tr_vec2 p_sheet_mm[TR_OBS_MAX_POINTS];
    tr_vec2 uv_px[TR_OBS_MAX_POINTS];
    int offset; /* the mark's tr_net_offset; -1: none */
    /* W: 2n x 2n upper triangular, row by row, 1/px; see tr_net_whiten. */
    double W[4 * TR_OBS_MAX_POINTS * TR_OBS_MAX_POINTS];
    bool is_used; /* false: it takes no part, but has residuals */
} tr_net_obs;

/* An observation without an offset and without its points, which takes no part yet: to begin with,
   so that what a caller does not know of is none. */
static inline tr_net_obs tr_net_obs_of(int photo, int sheet, tr_net_mark_kind kind, int n_points) {
    return (tr_net_obs){
        .photo = photo, .sheet = sheet, .kind = kind, .n_points = n_points, .offset = -1};
}

/* All arrays belong to the caller, who fills them in; solving moves the free unknowns in place.
   A network that is all zero is a valid empty one. tr_network_copy makes one that owns its arrays,
   and tr_network_release frees those of a network that owns them. */
typedef struct {
    /* tr_net_lens *lenses, int n_lenses and so on: of each kind in the table. */
#define TR_KIND(NAME, name, array, n)                                                              \
    tr_net_##name *(array);                                                                        \
    int n_##array;
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
    tr_net_obs *observations;
    tr_net_length *lengths;
    int n_observations, n_lengths;
    /* As messages name them; borrowed for as long as the network is solved. NULL, the array or one
       of it: by number, from 1. */
    const char *const *photo_names;
    const char *const *sheet_names;
    const char *const *offset_names; /* of the marks that they are of */
} tr_network;

/* Where the camera of a photo is. */
static inline tr_pose tr_network_camera_from_world(const tr_network *net, int photo) {
    const tr_net_photo *p = &net->photos[photo];
    return tr_pose_mul(net->cameras[p->camera].camera_from_rig, net->rigs[p->rig].rig_from_world);
}

/* Copies a network with all its arrays. False: memory ran out, and *out is empty. */
TR_MUST_USE bool tr_network_copy(const tr_network *net, tr_network *out, tr_error *err);
/* Sets all parts of a network to those of a copy that was made of it. */
void tr_network_restore(tr_network *net, const tr_network *copy);
void tr_network_release(tr_network *net);

/* W from a covariance of the 2n pixel coordinates (u1 v1 u2 v2 ...), row by row, px^2:
   W'W = covariance^-1. False where the covariance is not positive definite. */
bool tr_net_whiten(const double *covariance, int n_points, double *W);
/* W of n independent points with one standard deviation. */
void tr_net_whiten_equal(double sd_px, int n_points, double *W);

/* One unknown of the network. */
typedef struct {
    tr_net_kind kind;
    int index;     /* of the block of that kind (from 0) */
    int component; /* of it */
} tr_net_unknown;

/* A linear function of unknowns: the sum of factors[k] times unknowns[k]. Both are borrowed. */
typedef struct {
    const tr_net_unknown *unknowns;
    const double *factors;
    int n;
} tr_net_function;

typedef struct {
    double huber; /* of observations, in standard deviations; 0: plain least squares */
    int max_iterations;
    double small_step; /* as in tr_lsq_options */
} tr_net_options;

/* Solves in place. Fewer residuals than unknowns, or an unknown that the marks do not determine:
   TR_NO_MEASURE; the network is then left at the last state reached. */
TR_MUST_USE bool tr_network_solve(tr_network *net, const tr_net_options *options,
                                  tr_lsq_result *result, tr_error *err);

/* A solved network with its normal equations, for questions about its unknowns. All answers are for
   unit variance: the caller scales them by the variance factor. They hold while the network, which
   is borrowed, stays as it is. */
typedef struct tr_net_solution tr_net_solution;

/* Solves as tr_network_solve does, and keeps the normal equations. NULL: as false there. Owned by
   the caller. */
tr_net_solution *tr_net_solution_new(tr_network *net, const tr_net_options *options,
                                     tr_lsq_result *result, tr_error *err);
void tr_net_solution_free(tr_net_solution *s);

/* Covariance of n unknowns; out: n x n, row by row. An unknown that is not free gets rows of
   zeros. */
TR_MUST_USE bool tr_net_solution_covariance(tr_net_solution *s, const tr_net_unknown *unknowns,
                                            int n, double *out, tr_error *err);

/* How n unknowns respond to marks that are not where they are held to be. out: n x n_observations x
   TR_OFFSET_N: d(unknown) / d(component of the observation's offset), as if the offset were another
   in this observation alone. From the normal equations H dx = -J' W'W J_offset d (Cross, Advanced
   least squares applied to position-fixing, 1983, sec. 3); 0 where the observation has no offset.
 */
TR_MUST_USE bool tr_net_solution_sensitivity(tr_net_solution *s, const tr_net_unknown *unknowns,
                                             int n, double *out, tr_error *err);

/* Variances of n functions, each for itself: cheaper than a covariance where the unknowns are
   many. */
TR_MUST_USE bool tr_net_solution_variances(const tr_net_solution *s,
                                           const tr_net_function *functions, int n, double *out,
                                           tr_error *err);

/* A hypothesis: in the photos from the first to the last, some unknowns of the sheet had other
   values (what is not free included, and without a prior). */
typedef struct {
    int sheet;
    int component, n;            /* the unknowns (sheet.h): the first, and how many, at most 6 */
    int first_photo, last_photo; /* numbers of the network, both included */
    /* What the test found, to first order: */
    bool is_determined; /* false: the marks tell no such difference, and the rest is 0 */
    double score;       /* the cost would fall by this */
    double step[6];     /* by which they would differ ... */
    double variance[6]; /* ... and the variances of that, for unit variance */
} tr_net_hypothesis;

/* Tests hypotheses in a solved network, without solving it again: with H the normal matrix, g the
   gradient, a the network's unknowns (where g_a = 0) and b those that a hypothesis adds,
     S = H_bb - H_ba H_aa^-1 H_ab    gain = g_b' S^-1 g_b    step = -S^-1 g_b
   Sources: Rao, Large sample tests of statistical hypotheses concerning several parameters with
   applications to problems of estimation, Proc. Camb. Phil. Soc. 44, 1948 (score test); in
   networks, Baarda, A testing procedure for use in geodetic networks, 1968. With Huber's loss the
   weights stay those of the solution, so that where a fault is gross the gain is far below the true
   one: the gain is good for an order, in which hypotheses are tried. Fast where those that differ
   in nothing but their first photo follow each other, later photos first. The network stays as it
   is. Errors as tr_network_solve. */
TR_MUST_USE bool tr_network_test(tr_network *net, double huber, tr_net_hypothesis *hypotheses,
                                 int n, tr_error *err);

/* Residual of an observation in the network's present state: measured minus predicted, px, one
   vector a point (may be NULL), and |W r|^2 (may be NULL). False where a point lies behind the
   camera or outside the lens model. */
bool tr_network_residual(const tr_network *net, int observation, tr_vec2 *r_px, double *chi2);

/* The lens as it was in one photo: with the photo's own shift and focal length (but what its rows
   did), in the network's present state. */
tr_lens tr_network_photo_lens(const tr_network *net, int photo);

/* The variance factor of all marks that were found: that of the solution, with the residuals of
   observations that were found and take no part counted in full. is_found: one an observation. */
double tr_network_variance_of_all(const tr_network *net, const tr_lsq_result *result,
                                  const bool *is_found);

/* A point of a sheet, mm on its face, in the world: with the sheet's shape and all else that moves
   it, and with the offset of its mark (-1: it has none). */
tr_vec3 tr_network_point(const tr_network *net, int sheet, int offset, tr_vec2 p_sheet_mm);

/* How the pixels of an observation respond to its offset: J is 2 n_points x TR_OFFSET_N by rows, px
   per unit; 0 where it has none. False as tr_network_residual. */
bool tr_network_offset_jacobian(const tr_network *net, int observation, double *J);

/* Which photos and sheets are connected: component[i] for photo i, component[n_photos + k] for
   sheet k, numbered from 0 in order of first appearance (photos first); only used observations
   connect. component has n_photos + n_sheets places. Returns the number of components. */
int tr_network_components(const tr_network *net, int *component);

/* tr_lsq_check_jacobian of a network in its present state, with steps that fit its unknowns: the
   worst relative difference, and a line that says where it is. For tests of new unknowns and
   terms. */
TR_MUST_USE bool tr_network_check_jacobian(tr_network *net, double *difference, char *where,
                                           size_t size, tr_error *err);

#endif
