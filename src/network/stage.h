/* A stage of the way of a point: it moves the point on by the unknowns of one kind of block. The
   derivatives run back along the way (reverse accumulation; Griewank and Walther, Evaluating
   derivatives, 2nd ed., SIAM 2008, ch. 3): with J those of pixel or distance to the point as it
   leaves a stage, p' = f(p, x),
     columns of x += J df/dx    J := J df/dp
   A stage that would leave its points as they are, and has nothing free, is left out of the way.
   Private to the network. */
#ifndef TR_NETWORK_STAGE_H
#define TR_NETWORK_STAGE_H

#include "network/network.h"

/* What a point depends on, of a sheet and as it is seen. */
typedef struct {
    const tr_network *net;
    int sheet;
    int offset;                        /* of its mark; -1: it has none */
    int photo;                         /* -1: it is not seen, but the end of a length */
    tr_vec2 uv_px;                     /* where it was measured */
    const void *block[TR_NET_N_KINDS]; /* NULL: it depends on none of the kind */
} tr_view;

/* Derivatives on their way back. */
typedef struct {
    int rows;                        /* 2: of a pixel; 1: of a distance */
    double J[2][3];                  /* to the point; after the lens it is (u, v, 0) */
    double *columns[TR_NET_N_KINDS]; /* first row of those to the view's block of each kind ... */
    int stride;                      /* ... and from row to row */
} tr_gradient;

/* What a stage may keep of a point for its derivatives, in bytes; it is aligned for doubles. */
enum { TR_STAGE_ROOM = 24 * sizeof(double) };

typedef struct {
    tr_net_kind kind; /* whose unknowns move the point; it is left out where there is no block */
    /* False: it is left out for all points of the view, too. NULL: never. */
    bool (*acts)(const tr_view *view);
    /* Moves the point. keep: for reverse, which is called after it; NULL: no derivatives are asked
       for. False where the point cannot be seen. */
    bool (*move)(const tr_view *view, tr_vec3 *p, void *keep);
    /* Adds to columns, and takes J to the point before the stage. */
    void (*reverse)(const tr_view *view, const void *keep, tr_gradient *g);
} tr_stage;

#define TR_STAGE(name) extern const tr_stage tr_stage_##name;
TR_STAGES_TO_WORLD(TR_STAGE)
TR_STAGES_TO_PIXEL(TR_STAGE)
#undef TR_STAGE

/* The columns of a kind, in one row. */
static inline double *tr_gradient_row(const tr_gradient *g, tr_net_kind kind, int row) {
    return g->columns[kind] + (long)row * g->stride;
}

/* J := J A */
static inline void tr_gradient_through(tr_gradient *g, const tr_mat3 *A) {
    for (int i = 0; i < g->rows; i++) {
        double *J = g->J[i];
        double J0 = J[0];
        double J1 = J[1];
        double J2 = J[2];
        for (int j = 0; j < 3; j++) J[j] = J0 * A->m[0][j] + J1 * A->m[1][j] + J2 * A->m[2][j];
    }
}

/* A stage that is a pose, p' = R p + t, whose unknowns are the first six of the kind and those of
   tr_pose_moved. It keeps R p. */
static inline void tr_stage_apply_pose(const tr_pose *pose, tr_vec3 *p, void *keep) {
    tr_vec3 turned = tr_m3_apply(pose->R, *p);
    if (keep) *(tr_vec3 *)keep = turned;
    *p = tr_v3_add(turned, pose->t_mm);
}

static inline void tr_stage_reverse_pose(const tr_pose *pose, const void *keep, tr_net_kind kind,
                                         tr_gradient *g) {
    const tr_vec3 *turned = keep;
    for (int i = 0; i < g->rows; i++) {
        double *row = tr_gradient_row(g, kind, i);
        double d[TR_POSE_N];
        tr_pose_gradient(g->J[i], *turned, d);
        for (int k = 0; k < TR_POSE_N; k++) row[k] += d[k];
    }
    tr_gradient_through(g, &pose->R);
}

#endif
