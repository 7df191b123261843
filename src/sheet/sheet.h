/* What is printed: a sheet is one flat face that carries marks (contract, "Words").
   Sheet frame: origin at the sheet's centre, x right, y up, z out of the printed face; mm.

   Where the marks of a sheet were measured (trammel survey), its file has the measured places, and
   says how well they are known:

     tags:
       - { id: 40, centre_mm: [-648.1203, 351.8874], size_mm: 159.9120, turn_deg: 0.104210,
           edges_mm: [159.3600, 160.4640] }     # width, height; size_mm is their mean
     corners_mm: ...
     survey:
       name: MAT-7 of bay 2       # of the survey, which sheets measured together share
       lengths: [BAR-1]           # what the scale rests on
       scale_sd: 1.1e-4           # of it, relative
       covariance:                # rows of the lower triangle, the diagonal last in each; in order
         - [0.0021]               # for each tag x, y (mm), turn (deg), width, height (mm), then
         - [0.0001, 0.0019]       # for each corner x, y (mm)
         - ...

   No survey measures discs: a sheet has discs or a survey, not both. */
#ifndef TR_SHEET_SHEET_H
#define TR_SHEET_SHEET_H

#include "base/error.h"
#include "geom/geom.h"

/* Length of the rules that are printed on a sheet, one along its x, one along its y. */
#define TR_RULE_MM 100.0

typedef enum {
    TR_SHEET_MAT,
    TR_SHEET_BOARD,
    TR_SHEET_PLATE,
    TR_SHEET_HUB,
    TR_SHEET_TAG /* a lone tag, on a scale bar or stuck on a sheet: of no file */
} tr_sheet_kind;

/* What holds a sheet while it is photographed. It is the job's to say; the kind tells what is
   usual: boards stand, hub sheets hang on a wheel, all others lie. */
typedef enum {
    TR_ON_FLOOR, /* flat on it, as all others there: they share a plane */
    TR_ON_STAND,
    TR_ON_WHEEL,
    TR_ON_VEHICLE /* on its body */
} tr_support;

typedef struct {
    int id;             /* number within the family */
    tr_vec2 centre_mm;  /* on the sheet */
    double size_mm;     /* edge of the square whose corners the detector reports */
    double turn_rad;    /* anticlockwise on the sheet; 0 = as the family's official image */
    double edges_mm[2]; /* width and height, where it is no square; else both 0 */
    int line;           /* in the sheet file, for messages */
} tr_tag;

/* A printed disc. */
typedef struct {
    tr_vec2 centre_mm; /* on the sheet */
    double diameter_mm;
    bool is_white; /* on black ground; else black on white ground */
    int line;      /* in the sheet file, for messages */
} tr_disc;

/* A place on a target, or on what carries it, to which a pointer can be laid: the corner of a mat,
   a foot of a stand. */
typedef struct {
    char name[32];
    tr_vec3 at_mm; /* in the sheet frame: z is 0 on the face */
    int line;      /* in the sheet file, for messages */
} tr_sheet_point;

/* A white disc is printed on a black square, whose edge is so many diameters. */
#define TR_DISC_GROUND 1.5

/* What is measured of a tag and of a corner, in the order of the covariance: mm, and rad here. */
enum { TR_TAG_X, TR_TAG_Y, TR_TAG_TURN, TR_TAG_WIDTH, TR_TAG_HEIGHT, TR_TAG_N };
enum { TR_CORNER_N = 2 };
/* The most rows that a covariance may have. */
enum { TR_SHEET_MAX_ROWS = 400, TR_SHEET_MAX_LENGTHS = 8 };

/* How well the places are known. All zero: the sheet is as its file says. */
typedef struct {
    char id[64];
    char lengths[TR_SHEET_MAX_LENGTHS][64];
    int n_lengths;
    double scale_sd;
    int n_rows;         /* TR_TAG_N a tag, TR_CORNER_N a corner */
    double *covariance; /* n_rows x n_rows by rows; NULL where n_rows is 0 */
} tr_sheet_survey;

typedef struct {
    char *path; /* the file it was read from, for messages */
    char id[64];
    char title[128];
    char label[128]; /* what its bar code or QR code says; "": it has none */
    tr_sheet_kind kind;
    tr_support support;
    double width_mm, height_mm;
    bool has_tip;   /* of a plate: */
    tr_vec2 tip_mm; /* the printed tip, which is laid at the point that the plate marks */
    char tag_family[32];
    tr_tag *tags;
    int n_tags;
    tr_vec2 *corners_mm; /* checker corners */
    int n_corners;
    tr_disc *discs;
    int n_discs;
    tr_sheet_point *points; /* for pointers */
    int n_points;
    tr_sheet_survey survey;
} tr_sheet;

/* Reads a sheet file. On failure err names file, line and key, and *out is empty.
   The tag family must be one that tags/names.h lists, every id within it; tags, corners and discs
   must lie on the face, and none of them over another. */
TR_MUST_USE bool tr_sheet_read(const char *path, tr_sheet *out, tr_error *err);
/* The same, but there need be no tag: as of a sheet whose tags are stuck on by hand. */
TR_MUST_USE bool tr_sheet_read_bare(const char *path, tr_sheet *out, tr_error *err);
/* The same, but there need be neither a tag nor a family: as of a mat that nobody may print on. */
TR_MUST_USE bool tr_sheet_read_any(const char *path, tr_sheet *out, tr_error *err);
/* A lone tag as a sheet of its own, "TAG-231", of that size and on the body of a vehicle; without a
   path. False: the family has no such tag, or memory ran out; *out is empty then. */
bool tr_sheet_of_tag(const char *family, int id, double size_mm, int line, tr_sheet *out);
void tr_sheet_release(tr_sheet *sheet);

/* The index of a sheet's point by its name, -1 where there is none. */
int tr_sheet_find_point(const tr_sheet *sheet, const char *name);

/* The index of the one of n sheets with this id, -1 where there is none. */
int tr_sheet_find(const tr_sheet *sheets, int n, const char *id);

/* It was surveyed, and where one of its marks is, or how large, stands there as known exactly. */
bool tr_sheet_is_exact(const tr_sheet *sheet);

/* One of its tags is of that family and id. */
bool tr_sheet_has_tag(const tr_sheet *sheet, const char *family, int id);

/* Writes a sheet file from which the same sheet is read, bit by bit (a turn to its last bit but
   one, and the covariances of turns); whole or not at all (base/file.h). The sheet must be one that
   tr_sheet_read would accept. */
TR_MUST_USE bool tr_sheet_write(const char *path, const tr_sheet *sheet, tr_error *err);
/* What tr_sheet_write would write. *text is owned by the caller (free); NULL on failure. */
TR_MUST_USE bool tr_sheet_print(const tr_sheet *sheet, char **text, size_t *size, tr_error *err);

/* The marks of a sheet are counted through: tags first, then corners, then discs. */
static inline int tr_sheet_n_marks(const tr_sheet *sheet) {
    return sheet->n_tags + sheet->n_corners + sheet->n_discs;
}

/* First row of a tag or a corner in the survey's covariance. */
static inline int tr_sheet_tag_row(int tag) {
    return TR_TAG_N * tag;
}
static inline int tr_sheet_corner_row(const tr_sheet *sheet, int corner) {
    return TR_TAG_N * sheet->n_tags + TR_CORNER_N * corner;
}

const char *tr_sheet_kind_name(tr_sheet_kind kind); /* "mat", "board", "plate", "hub" */
tr_support tr_sheet_usual_support(tr_sheet_kind kind);
/* It stands or hangs: its placement is that of an upright board. */
static inline bool tr_sheet_is_upright(const tr_sheet *sheet) {
    return sheet->support != TR_ON_FLOOR;
}

/* Corner k of a tag, on the sheet, mm: 0 bottom left, 1 bottom right, 2 top right, 3 top left of
   the tag as its family's official image shows it (libapriltag's order). */
tr_vec2 tr_tag_corner(const tr_tag *tag, int k);

/* Distance of a point of the sheet from a tag's square, mm; 0 within it. */
double tr_tag_distance(const tr_tag *tag, tr_vec2 p_mm);

double tr_tag_width(const tr_tag *tag); /* mm */
double tr_tag_height(const tr_tag *tag);

#endif
