/* The table of the network's unknowns: which kinds there are, and the way of a point through them.
   A new kind is a row of TR_NETWORK_KINDS, with its header among those below and its stage in the
   way; all else that there is to say of it stands in the two files of its name. */
#ifndef TR_NETWORK_UNKNOWNS_H
#define TR_NETWORK_UNKNOWNS_H

#include "network/camera.h"
#include "network/lens.h"
#include "network/offset.h"
#include "network/photo.h"
#include "network/rig.h"
#include "network/sheet.h"

/* X(NAME, name, array, n): TR_NET_NAME is its tr_net_kind; tr_net_name (name.h) is one block of it,
   which has n unknowns; array and n_array are the blocks in tr_network; tr_kind_name (name.c) says
   what it is (kind.h). The unknowns of a network, and its priors, come in the order of the rows.
   CMakeLists.txt reads the names of the sources here. */
/* clang-format off */
#define TR_NETWORK_KINDS(X) \
    X(LENS,   lens,   lenses,  TR_LENS_N) \
    X(CAMERA, camera, cameras, TR_POSE_N) \
    X(RIG,    rig,    rigs,    TR_POSE_N) \
    X(PHOTO,  photo,  photos,  TR_PHOTO_N) \
    X(SHEET,  sheet,  sheets,  TR_SHEET_N) \
    X(OFFSET, offset, offsets, TR_OFFSET_N)

/* X(name): the stages (tr_stage_name, stage.h) that take a point from where the file has it on its
   sheet to the world, as lengths need it, ... */
#define TR_STAGES_TO_WORLD(X) \
    X(sheet_shape) \
    X(offset) \
    X(sheet_pose)
/* ... and from there to its pixel. */
#define TR_STAGES_TO_PIXEL(X) \
    X(photo_travel) \
    X(rig) \
    X(camera) \
    X(photo_turn) \
    X(lens) \
    X(photo_image)
/* clang-format on */

typedef enum {
#define TR_KIND(NAME, name, array, n) TR_NET_##NAME,
    TR_NETWORK_KINDS(TR_KIND)
#undef TR_KIND
        TR_NET_N_KINDS
} tr_net_kind;

#endif
