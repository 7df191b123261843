/* The joint adjustment: where are the sheets, the cameras and the lens, given the marks seen in the
   photos? Calibrating a lens, checking a placement and asking what does not fit differ only in
   which unknowns are free and which priors they carry.

   An observation says that certain points of a sheet were seen at certain pixels of a photo:
     p_sheet' = displaced(shape(p_sheet))
     p_camera = camera_from_rig * rig_from_world * world_from_sheet * p_sheet'
     q        = exp([s turn]x) (p_camera - s R travel)    R: the rotation of camera_from_world
     residual = W (shifted(project(lens, q)) - measured)
   with W'W the inverse covariance of the measured pixels. shape() is the print's scale and bow:
     x' = x (1 + print_scale_x)    y' = y (1 + print_scale_y)
     z' = bow_x (1 - (x/hx)^2) + bow_y (1 - (y/hy)^2)
   where hx, hy are the half extents of the sheet: bow_x is how far, in mm, the middle of the sheet
   stands out of the plane through its left and right edges.

   displaced() is the identity unless the mark has an offset of its own: a mark that is not where
   the file says, or not in the sheet's plane. A mark is moved as a whole, about its centre c:
     along the face  p' = c + d + Rz(turn) E (p - c)
                     E = Rz(axis) diag(1 + scale + differential, 1 + scale - differential) Rz(-axis)
     out of it       z' = z + d_z + slope . q + twist q_x q_y    q = p - c
   so that a tag that was stuck by hand stays the flat rectangle that its printer made it, and one
   on paper that does not lie flat leans and bends with the paper.

   A photo has a camera of its own, in so far as its unknowns are free (image-variant interior
   orientation, and a rolling shutter):
     shifted(u, v) = ((1 + focal) (u - cx) + cx + shift_x, the same in v)
     s = (v_measured - (h - 1) / 2) / h    from -0.5 in the first row to 0.5 in the last
   A sensor reads its rows one after the other along its short side: in a picture that is higher
   than wide (h > w) s runs along u. turn: by how much the camera turns about its own axes while the
   sensor is read, rad; travel: how far it goes along the axes of the world, mm. The pose of the rig
   is that of the middle row. Sources: image-variant interior orientation: Tecklenburg, Luhmann and
   Hastedt, Camera modelling with image-variant parameters and finite elements, Optical 3-D
   Measurement Techniques V, 2001; a rolling shutter under constant velocities: Ait-Aider et al.,
   Simultaneous object pose and velocity computation using a single view from a rolling shutter
   camera, ECCV 2006 (both from memory).

   A length is a known distance between two points of sheets, such as two tags of a scale bar:
     residual = (|p_world_b - p_world_a| - length) / sd

   World frame: the floor, z up; which sheet holds it in place (its x, y and yaw fixed) is up to the
   caller. A photo is taken by a rig (a station) through one camera of it; a lone camera is a rig
   with the camera at its origin. Small rotations turn about the axes of the world (sheets) or of
   the camera (rigs, cameras): R_new = exp([d]x) R. Units: mm, rad, px. */
#ifndef TR_NETWORK_NETWORK_H
#define TR_NETWORK_NETWORK_H

#include "base/error.h"
#include "geom/geom.h"
#include "lens/lens.h"
#include "network/lsq.h"

/* Components of a sheet's unknowns: rotation (rad), place (mm), shape (1, 1, mm, mm). */
enum {
    TR_SHEET_RX,
    TR_SHEET_RY,
    TR_SHEET_RZ,
    TR_SHEET_TX,
    TR_SHEET_TY,
    TR_SHEET_TZ,
    TR_PRINT_SCALE_X,
    TR_PRINT_SCALE_Y,
    TR_BOW_X,
    TR_BOW_Y,
    TR_SHEET_N
};
/* Its shape alone: the last of them, in their order. */
typedef enum {
    TR_SHAPE_SCALE_X,
    TR_SHAPE_SCALE_Y,
    TR_SHAPE_BOW_X,
    TR_SHAPE_BOW_Y,
    TR_SHAPE_N
} tr_net_shape;
/* Of a rig or a camera: rotation (rad) 0..2, place (mm) 3..5. */
enum { TR_POSE_N = 6 };

/* The most points of one observation: the four corners of a tag, whose errors go together. */
enum { TR_OBS_MAX_POINTS = 4 };

typedef struct {
    tr_lens lens;
    bool is_free[TR_LENS_N]; /* which parameters are unknowns */
    /* Where this is set, the lens's own covariance is the prior of its free parameters. The prior
       is centred on the values that the lens had when it was first solved with it: they are kept
       here, so that solving again does not centre it on what the same marks said before. */
    bool has_prior;
    bool is_prior_kept;
    double prior[TR_LENS_N];
    double prior_W[TR_LENS_N * TR_LENS_N]; /* whitening of the free ones; the network's own */
} tr_net_lens;

typedef struct {
    tr_pose camera_from_rig;
    bool is_free;
} tr_net_camera;

typedef struct {
    tr_pose rig_from_world;
    bool is_held; /* not an unknown */
} tr_net_rig;

typedef struct {
    tr_pose world_from_sheet;
    double shape[TR_SHAPE_N];
    double half_mm[2]; /* hx, hy above; > 0 */
    bool is_free[TR_SHEET_N];
    double shape_sd[TR_SHAPE_N]; /* prior of a free shape component about 0; 0: none ... */
    int shape_about;             /* ... or about that of this sheet; -1: about 0 */
    double floor_z_sd_mm;        /* prior: origin on the floor z = 0; 0: none */
    double floor_tilt_sd_rad;    /* prior: face level; goes with floor_z_sd_mm */
} tr_net_sheet;

/* Components of an offset: d along the sheet's axes (mm), turn about its normal (rad), scale (the
   relative change of the mark's size), differential scale (half the relative difference of its two
   sides), slopes, twist. */
enum {
    TR_OFFSET_X,
    TR_OFFSET_Y,
    TR_OFFSET_Z,
    TR_OFFSET_TURN,
    TR_OFFSET_SCALE,
    TR_OFFSET_DIFFERENTIAL_SCALE,
    TR_OFFSET_SLOPE_X, /* of the mark out of the sheet's plane, along its x ... */
    TR_OFFSET_SLOPE_Y, /* ... and y */
    TR_OFFSET_TWIST,   /* mm per mm^2 */
    TR_OFFSET_N
};

/* How far a mark (or several together, such as a tag's four corners) lies from its nominal place,
   and how it differs from its nominal form. */
typedef struct {
    double value[TR_OFFSET_N];
    bool is_free[TR_OFFSET_N];
    double sd[TR_OFFSET_N]; /* prior about 0 of a free component; 0: none */
    tr_vec2 centre_mm;      /* c above, on the sheet */
    double axis_rad;        /* of the mark's first side, anticlockwise from the sheet's x */
} tr_net_offset;

/* A known distance between two points. */
typedef struct {
    int sheet[2];
    tr_vec2 p_sheet_mm[2];
    int offset[2]; /* of each end: its mark's tr_net_offset; -1: none */
    double length_mm, sd_mm;
    bool is_used;
} tr_net_length;

/* A photo's own unknowns: shift of the principal point (px), relative change of the focal length,
   turn (rad) and travel (mm) while the sensor is read. */
enum {
    TR_PHOTO_SHIFT_X,
    TR_PHOTO_SHIFT_Y,
    TR_PHOTO_FOCAL,
    TR_PHOTO_TURN,
    TR_PHOTO_TRAVEL = TR_PHOTO_TURN + 3,
    TR_PHOTO_N = TR_PHOTO_TRAVEL + 3
};

typedef struct {
    int lens, camera, rig;
    double value[TR_PHOTO_N];
    bool is_free[TR_PHOTO_N];
    double sd[TR_PHOTO_N]; /* prior about 0 of a free component; 0: none */
} tr_net_photo;

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
    tr_net_lens *lenses;
    tr_net_camera *cameras;
    tr_net_rig *rigs;
    tr_net_sheet *sheets;
    tr_net_offset *offsets;
    tr_net_photo *photos;
    tr_net_obs *observations;
    tr_net_length *lengths;
    int n_lenses, n_cameras, n_rigs, n_sheets, n_offsets, n_photos, n_observations, n_lengths;
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

/* The lens of a profile: its covariance is the prior. A parameter that calibration held has no
   variance, and is held here too. */
tr_net_lens tr_net_lens_of(const tr_lens *profile);

/* W from a covariance of the 2n pixel coordinates (u1 v1 u2 v2 ...), row by row, px^2:
   W'W = covariance^-1. False where the covariance is not positive definite. */
bool tr_net_whiten(const double *covariance, int n_points, double *W);
/* W of n independent points with one standard deviation. */
void tr_net_whiten_equal(double sd_px, int n_points, double *W);

/* One unknown of the network. */
typedef enum {
    TR_NET_LENS,
    TR_NET_CAMERA,
    TR_NET_RIG,
    TR_NET_PHOTO,
    TR_NET_SHEET,
    TR_NET_OFFSET,
    TR_NET_N_KINDS
} tr_net_kind;
typedef struct {
    tr_net_kind kind;
    int index;     /* of the lens, camera, rig, photo, sheet or offset (from 0) */
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

/* A hypothesis: in the photos from the first to the last, the sheet had another pose (what is not
 * free included, and without a prior), or another print scale. */
typedef struct {
    int sheet;
    bool is_print_scale;
    int first_photo, last_photo; /* numbers of the network, both included */
    /* What the test found, to first order: */
    bool is_determined; /* false: the marks tell no such difference, and the rest is 0 */
    double score;       /* the cost would fall by this */
    double step[6];     /* by which pose (rad, mm) or print scale (2) would differ ... */
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

/* A point of a sheet, mm on its face, in the world, with the sheet's shape. */
tr_vec3 tr_net_sheet_point(const tr_net_sheet *sheet, tr_vec2 p_sheet_mm);

/* The same with an offset (NULL: none). */
tr_vec3 tr_net_mark_point(const tr_net_sheet *sheet, const tr_net_offset *offset,
                          tr_vec2 p_sheet_mm);

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
