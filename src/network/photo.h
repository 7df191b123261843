/* A photo: through which lens it was taken, by which camera of which rig, and what its camera had
   of its own, in so far as its unknowns are free (image-variant interior orientation, and a rolling
   shutter):
     p        = p_world - s travel
     q        = exp([s turn]x) p_camera
     uv'      = ((1 + focal) (u - cx) + cx + shift_x, the same in v)
     s        = (v_measured - (h - 1) / 2) / h    from -0.5 in the first row to 0.5 in the last
   A sensor reads its rows one after the other along its short side: in a picture that is higher
   than wide (h > w) s runs along u. turn: by how much the camera turns about its own axes while the
   sensor is read, rad; travel: how far it goes along the axes of the world, mm. The pose of the rig
   is that of the middle row. Sources: image-variant interior orientation: Tecklenburg, Luhmann and
   Hastedt, Camera modelling with image-variant parameters and finite elements, Optical 3-D
   Measurement Techniques V, 2001; a rolling shutter under constant velocities: Ait-Aider et al.,
   Simultaneous object pose and velocity computation using a single view from a rolling shutter
   camera, ECCV 2006 (both from memory). */
#ifndef TR_NETWORK_PHOTO_H
#define TR_NETWORK_PHOTO_H

#include <stdbool.h>

/* Its unknowns: shift of the principal point (px), relative change of the focal length, turn (rad)
   and travel (mm) while the sensor is read. */
enum {
    TR_PHOTO_SHIFT_X,
    TR_PHOTO_SHIFT_Y,
    TR_PHOTO_FOCAL,
    TR_PHOTO_TURN,
    TR_PHOTO_TRAVEL = TR_PHOTO_TURN + 3,
    /* So many are those whose scatter a lens's profile knows (lens/lens.h). */
    TR_PHOTO_SCATTER_N = TR_PHOTO_TRAVEL + 3,
    TR_PHOTO_N = TR_PHOTO_SCATTER_N
};

typedef struct {
    int lens, camera, rig;
    double value[TR_PHOTO_N];
    bool is_free[TR_PHOTO_N];
    double sd[TR_PHOTO_N]; /* prior about 0 of a free component; 0: none */
} tr_net_photo;

#endif
