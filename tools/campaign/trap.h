/* A trap: a job with one or two things wrong with it that somebody in a workshop could do, and
   with a mat that lies within its limits, at their edge or outside. Each is drawn from its number
   alone, so that any can be made again. Odd numbers are rendered jobs, even ones have simulated
   marks. Private to the campaign. */
#ifndef TR_TOOLS_CAMPAIGN_TRAP_H
#define TR_TOOLS_CAMPAIGN_TRAP_H

#include <stdio.h>

#include "tools/render/render.h"
#include "tools/simulate/simulate.h"

enum { TRAP_MAX_FAULTS = 2 };

/* What becomes of a photo after it was taken. All but mirroring change its size. */
typedef enum {
    TRAP_AS_TAKEN,
    TRAP_MIRRORED,
    TRAP_UPRIGHT, /* stored turned by a quarter */
    TRAP_CUT,
    TRAP_SHRUNK
} trap_edit;

/* How a rendered photo looks. */
typedef struct {
    tr_imaging imaging;
    bool has_shadow;
    tr_shadow shadow;
    bool has_solid; /* a hand or a tyre */
    tr_solid solid;
    int glare_on;          /* 1 + tag of the mat of which glare covers half (0: none) ... */
    double glare_rad;      /* ... to this side, in the image ... */
    double glare_strength; /* ... 1: white */
} trap_look;

typedef struct {
    long number;
    bool is_rendered;
    int faults[TRAP_MAX_FAULTS]; /* indices into TRAP_FAULTS */
    int n_faults;
    tr_sim_options sim;
    tr_sim_options other;                /* another job with the same sheets and camera ... */
    bool is_of_other[TR_SIM_MAX_PHOTOS]; /* ... from which these photos are */
    trap_edit edit[TR_SIM_MAX_PHOTOS];
    int repeated; /* 1 + photo that is given twice (0: none) */
    /* Of rendered jobs. */
    trap_look look[TR_SIM_MAX_PHOTOS];
    bool has_cover; /* something flat lies on the floor */
    tr_solid cover;
    bool has_poster; /* tags of none of the job's sheets, on a board or on the floor */
    bool is_poster_upright;
    tr_pose vehicle_from_poster;
} trap;

/* What a fault means for a pass. */
typedef enum {
    /* The fault may do no harm; or it puts the mat elsewhere, which is then the truth. A pass has
       to be right. */
    TRAP_PASS_IF_RIGHT,
    /* The measurement has lost its base (what a sheet, a plate or the lens is said to be is not
       true), or no true value is left: no pass whatever the numbers are. */
    TRAP_NO_PASS,
    /* The same, where the photos show it: a mat in two places leaves no true value if it was seen
       in both; a second print does if it was seen. */
    TRAP_NO_PASS_IF_SEEN
} trap_rule;

typedef struct {
    const char *name;
    trap_rule rule;
    bool has_marks, has_photos; /* for which jobs it is */
    void (*put)(trap *t, tr_random *r);
} trap_fault;

extern const trap_fault TRAP_FAULTS[];
extern const int TRAP_N_FAULTS;

/* Job i of a campaign with that seed. */
long trap_number(long seed, long i, bool is_rendered);
trap trap_draw(long number);

/* Faults that leave nothing to see: sentence (what is wrong, and why no photo can show it), and how
   a job gets it. None of them is counted as a false pass. */
typedef struct {
    const char *sentence;
    void (*put)(tr_sim_options *o, tr_random *r);
} trap_unseen;
extern const trap_unseen TRAP_UNSEEN[];
extern const int TRAP_N_UNSEEN;
trap trap_draw_unseen(long number, int unseen);

/* ---- making and judging ---- */

typedef struct {
    bool is_measured; /* there is a verdict */
    bool is_blocked;  /* a finding stands against a pass */
    tr_verdict verdict;
    char false_because[160]; /* "" unless it is a false pass */
} trap_result;

/* Simulates or renders the job and checks it. folder: for photos, which are removed unless keeps.
   tell: all that is known of it is written there; may be NULL. False: it could not be made. */
bool trap_run(const trap *t, const char *folder, bool keeps, FILE *tell, trap_result *out,
              tr_error *err);

/* Is this pass false? Writes why. Where a fault is no reason by itself, a pass is false where
     - the mat truly lies outside a limit by more than u95, or is out of flat by that; or
     - a value is off what an undisturbed measurement of the same scene gives by more than
       2 u95 + 0.3 mm (0.02 deg): four standard deviations, which no chance makes of some thousand
       passes (it does make 2.8 of them, once in 30,000 jobs). The chance error with which plates
       were laid is part of that scene: it is in u95, and is no fault (one of 20 honest passes is
       off the truth by u95).
   A mat that lay in two places may be right at either, since photos that hardly tie it to the
   plates cannot tell a small move; and where nothing but the mat itself ties what was seen before
   to what was seen after, anywhere between the two. Where photos of another job alone tell where
   the mat lies, it is that one's placement that has to be right. */
void trap_judge(const trap *t, const tr_sim *sim, const tr_sim *other, const tr_check *check,
                char *why, size_t size);

/* Renders the photos of a job into files. */
bool trap_render(const trap *t, const tr_sim *sim, const tr_sim *other, char *const *files,
                 int n_files, tr_error *err);

#endif
