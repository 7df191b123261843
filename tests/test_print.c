/* Sheets on paper. The proof goes through others' hands: the PDF is drawn by poppler, its tags are
   found by libapriltag, the SVG is read by expat; then every mark must lie where the sheet file has
   it, within 0.05 mm. */
#include "check.h"
#include "temp.h"

#include <apriltag/apriltag.h>
#include <expat.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"
#include "calib/board.h"
#include "image/image.h"
#include "job/job.h"
#include "marks/checker.h"
#include "tags/family.h"
#include "print/design.h"
#include "print/write.h"

enum { PASS = 0, NO_MEASURE = 3, USAGE = 64 };

#define TOLERANCE_MM 0.05

/* ---- tools ---- */

static int set_up(void **state) {
    char *folder = malloc(TEMP_SIZE);
    if (!folder) return -1;
    temp_make(folder);
    if (chdir(folder) != 0) return -1;
    *state = folder;
    return 0;
}

static int tear_down(void **state) {
    if (chdir("/") != 0) return -1;
    temp_remove(*state);
    free(*state);
    return 0;
}

static void write_text(const char *path, const char *text) {
    temp_write(path, text, strlen(text));
}

static void read_text(const char *path, char *text, size_t size) {
    FILE *from = fopen(path, "rb");
    assert_non_null(from);
    text[fread(text, 1, size - 1, from)] = 0;
    fclose(from);
}

static int shell(const char *format, ...) TR_PRINTF(1, 2);

static int shell(const char *format, ...) {
    char line[2048];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    int status = system(line);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

typedef struct {
    int status;
    char out[16384], err[4096];
} outcome;

static outcome run(const char *arguments) {
    static outcome o;
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    o.status = shell("exec 2>cli.err >cli.out; '%s' %s", program, arguments);
    read_text("cli.out", o.out, sizeof o.out);
    read_text("cli.err", o.err, sizeof o.err);
    unlink("cli.out");
    unlink("cli.err");
    return o;
}

static void check_has(const char *text, const char *part) {
    if (!strstr(text, part)) print_error("'%s' is not in:\n%s\n", part, text);
    assert_non_null(strstr(text, part));
}

static void must(bool ok, const tr_error *err) {
    char text[1024];
    tr_error_print(err, text, sizeof text);
    if (!ok) fail_msg("%s", text);
}

/* A PGM (P5, 8 bits) as pdftoppm writes it. */
static tr_image read_pgm(const char *path) {
    tr_image image;
    int width, height, most;
    FILE *from = fopen(path, "rb");
    assert_non_null(from);
    assert_int_equal(fscanf(from, "P5 %d %d %d", &width, &height, &most), 3);
    assert_int_equal(most, 255);
    fgetc(from);
    assert_true(tr_image_init(&image, width, height, NULL));
    size_t n = (size_t)width * (size_t)height;
    assert_int_equal(fread(image.px, 1, n, from), n);
    fclose(from);
    return image;
}

/* Page `number` (from 1) of a PDF as poppler draws it. */
static tr_image rasterise(const char *pdf, int number, int dpi) {
    assert_int_equal(
        shell("pdftoppm -r %d -gray -f %d -l %d -singlefile '%s' page", dpi, number, number, pdf),
        0);
    tr_image image = read_pgm("page.pgm");
    unlink("page.pgm");
    return image;
}

/* Where a place of the page, in mm from its upper left corner, lies in the picture. */
static tr_vec2 pixel(tr_vec2 page_mm, int dpi) {
    return tr_v2(page_mm.x * dpi / 25.4 - 0.5, page_mm.y * dpi / 25.4 - 0.5);
}

static tr_vec2 on_page(tr_vec2 origin_mm, tr_vec2 p_sheet_mm) {
    return tr_v2(origin_mm.x + p_sheet_mm.x, origin_mm.y - p_sheet_mm.y);
}

/* ---- marks found in a picture ---- */

/* By libapriltag: corners in its own order, which is that of tr_tag_corner. */
typedef struct {
    int id;
    tr_vec2 corner_px[4];
} found_tag;

typedef struct {
    found_tag tags[64];
    int n;
} found_tags;

static found_tags find_tags(const tr_image *image, const char *family_name, int dpi) {
    found_tags found = {.n = 0};
    apriltag_family_t *family = tr_tag_family_new(family_name, NULL);
    apriltag_detector_t *detector = apriltag_detector_create();
    assert_non_null(family);
    assert_non_null(detector);
    apriltag_detector_add_family_bits(detector, family, 1);
    detector->quad_decimate = dpi > 300 ? 4 : 2;
    image_u8_t view = {
        .width = image->width, .height = image->height, .stride = image->width, .buf = image->px};
    zarray_t *list = apriltag_detector_detect(detector, &view);
    for (int i = 0; i < zarray_size(list) && found.n < 64; i++) {
        apriltag_detection_t *d;
        zarray_get(list, i, &d);
        found_tag *t = &found.tags[found.n++];
        t->id = d->id;
        for (int k = 0; k < 4; k++) t->corner_px[k] = tr_v2(d->p[k][0] - 0.5, d->p[k][1] - 0.5);
    }
    apriltag_detections_destroy(list);
    apriltag_detector_clear_families(detector);
    apriltag_detector_destroy(detector);
    tr_tag_family_free(family);
    return found;
}

static const found_tag *tag_of(const found_tags *found, int id) {
    for (int i = 0; i < found->n; i++) {
        if (found->tags[i].id == id) return &found->tags[i];
    }
    return NULL;
}

static void check_place(tr_vec2 found_px, tr_vec2 page_mm, int dpi) {
    double mm_per_px = 25.4 / dpi;
    tr_vec2 expected_px = pixel(page_mm, dpi);
    CHECK_AT_MOST(tr_v2_norm(tr_v2_sub(found_px, expected_px)) * mm_per_px, TOLERANCE_MM);
}

static void check_tag(const found_tags *found, const tr_tag *tag, tr_vec2 origin_mm, int dpi) {
    const found_tag *t = tag_of(found, tag->id);
    if (!t) fail_msg("tag %d was not found", tag->id);
    for (int k = 0; k < 4; k++)
        check_place(t->corner_px[k], on_page(origin_mm, tr_tag_corner(tag, k)), dpi);
}

/* Part of a picture, blurred as by a lens: (1 2 1)/4 both ways, twice. The measurement of corners
   is for photos; edges from one pixel to the next are none that it knows. */
static tr_image blurred_part(const tr_image *image, int left, int top, int width, int height) {
    tr_image part;
    assert_true(left >= 0 && top >= 0 && left + width <= image->width &&
                top + height <= image->height);
    assert_true(tr_image_init(&part, width, height, NULL));
    for (int v = 0; v < height; v++)
        memcpy(part.px + (long)v * width, tr_image_row(image, top + v) + left, (size_t)width);
    for (int pass = 0; pass < 4; pass++) {
        int step = pass % 2 ? width : 1;
        tr_image from;
        assert_true(tr_image_init(&from, width, height, NULL));
        memcpy(from.px, part.px, (size_t)width * (size_t)height);
        for (int v = 1; v < height - 1; v++) {
            for (int u = 1; u < width - 1; u++) {
                const uint8_t *p = from.px + (long)v * width + u;
                part.px[(long)v * width + u] = (uint8_t)((p[-step] + 2 * p[0] + p[step] + 2) / 4);
            }
        }
        tr_image_release(&from);
    }
    return part;
}

/* The measurement starts some pixels off, so that it has to find the corner. */
static void check_corner(const tr_image *image, tr_vec2 corner_mm, tr_vec2 origin_mm, int dpi) {
    enum { REACH = 40 };
    double square_px = 10.0 * dpi / 25.4;
    tr_vec2 page_mm = on_page(origin_mm, corner_mm);
    tr_vec2 start = tr_v2_add(pixel(page_mm, dpi), tr_v2(5, -4));
    tr_vec2 corner = tr_v2(floor(start.x) - REACH, floor(start.y) - REACH);
    tr_checker found;
    tr_image part = blurred_part(image, (int)corner.x, (int)corner.y, 2 * REACH + 1, 2 * REACH + 1);
    if (!tr_checker_measure(&part, tr_v2_sub(start, corner), tr_v2(square_px, 0),
                            tr_v2(0, -square_px), 10, &found)) {
        fail_msg("no checker corner at %g, %g", corner_mm.x, corner_mm.y);
    }
    tr_image_release(&part);
    check_place(tr_v2_add(found.uv_px, corner), page_mm, dpi);
}

static void check_all_marks(const tr_image *image, const tr_sheet *s, tr_vec2 origin_mm, int dpi) {
    found_tags found = find_tags(image, s->tag_family, dpi);
    assert_int_equal(found.n, s->n_tags);
    for (int i = 0; i < s->n_tags; i++) check_tag(&found, &s->tags[i], origin_mm, dpi);
    for (int i = 0; i < s->n_corners; i++) check_corner(image, s->corners_mm[i], origin_mm, dpi);
}

/* ---- sheets ---- */

static const char *const FAMILY = "tag36h11";

static tr_design design_of(tr_design_kind kind, const char *id, double width_mm, double height_mm) {
    tr_design d = {.kind = kind,
                   .id = id,
                   .width_mm = width_mm,
                   .height_mm = height_mm,
                   .family = FAMILY,
                   .id_high = 586};
    if (kind == TR_DESIGN_CHECKERBOARD) {
        d.squares_x = 10;
        d.squares_y = 7;
        d.pitch_mm = 25;
    }
    return d;
}

static tr_sheet make(tr_design d) {
    tr_sheet sheet;
    tr_error err = {0};
    tr_sheet_folder shop = {0};
    must(tr_design_make(&d, &shop, &sheet, &err), &err);
    return sheet;
}

static tr_artwork lay_out(const tr_sheet *sheet) {
    tr_artwork artwork;
    tr_error err = {0};
    must(tr_artwork_make(sheet, &artwork, &err), &err);
    return artwork;
}

static tr_pages plan(const tr_artwork *artwork, const char *paper) {
    tr_pages pages;
    tr_error err = {0};
    must(
        tr_pages_plan(artwork, paper ? tr_paper_by_name(paper) : NULL, TR_OVERLAP_MM, &pages, &err),
        &err);
    return pages;
}

static void print_pdf(tr_artwork *artwork, const tr_pages *pages, const char *path) {
    tr_error err = {0};
    must(tr_print_pdf(artwork, pages, path, &err), &err);
}

static tr_sheet read_source_sheet(const char *name) {
    char path[TEMP_SIZE];
    tr_sheet sheet;
    tr_error err = {0};
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    must(tr_sheet_read(temp_path(path, source, name), &sheet, &err), &err);
    return sheet;
}

/* ---- marks lie where the file has them ---- */

static void check_whole(tr_sheet *sheet, const char *paper, int dpi) {
    tr_artwork artwork = lay_out(sheet);
    tr_pages pages = plan(&artwork, paper);
    assert_int_equal(pages.n, 1);
    print_pdf(&artwork, &pages, "whole.pdf");
    tr_image image = rasterise("whole.pdf", 1, dpi);
    check_all_marks(&image, sheet, pages.pages[0].origin_mm, dpi);
    tr_image_release(&image);
    tr_pages_release(&pages);
    tr_artwork_release(&artwork);
    tr_sheet_release(sheet);
}

static void every_mark_of_a_plate_is_found_in_its_place(void **state) {
    (void)state;
    tr_sheet plate = make(design_of(TR_DESIGN_PLATE, "P", 0, 0));
    assert_int_equal(plate.n_tags, 2);
    assert_int_equal(plate.n_corners, 4);
    check_whole(&plate, NULL, 600);
    tr_sheet hub = make(design_of(TR_DESIGN_HUB, "H", 0, 0));
    check_whole(&hub, "Letter", 600);
    tr_sheet pointer = make(design_of(TR_DESIGN_POINTER, "T", 0, 0));
    assert_int_equal(pointer.kind, TR_SHEET_PLATE);
    assert_int_equal(pointer.n_tags, 2);
    check_whole(&pointer, "A4", 600);
    tr_sheet board = make(design_of(TR_DESIGN_BOARD, "B", 0, 0));
    assert_int_equal(board.kind, TR_SHEET_BOARD);
    assert_true(board.n_tags >= 4 && board.n_corners >= 4);
    check_whole(&board, NULL, 300);
}

static void check_text_sheet(const char *text, int dpi) {
    tr_sheet sheet;
    tr_error err = {0};
    write_text("sheet.yaml", text);
    must(tr_sheet_read("sheet.yaml", &sheet, &err), &err);
    check_whole(&sheet, NULL, dpi);
}

static void a_mat_with_turned_tags_is_printed_as_its_file_says(void **state) {
    (void)state;
    check_text_sheet("sheet: T\ntitle: Turned\nkind: mat\nsize_mm: [500, 400]\n"
                     "tag_family: tag36h11\n"
                     "tags:\n"
                     "  - { id: 40, centre_mm: [-170, 120], size_mm: 100 }\n"
                     "  - { id: 41, centre_mm: [170, 120], size_mm: 100, turn_deg: -90 }\n"
                     "  - { id: 42, centre_mm: [170, -120], size_mm: 100, turn_deg: 180 }\n"
                     "  - { id: 43, centre_mm: [-170, -120], size_mm: 100, turn_deg: 90 }\n"
                     "  - { id: 44, centre_mm: [20, -33.3], size_mm: 80, turn_deg: 33 }\n"
                     "corners_mm: [[0, 120], [0.5, -150]]\n",
                     300);
    tr_sheet plate = read_source_sheet("testimages/sheets/plate-a.yaml");
    check_whole(&plate, NULL, 600);
}

static void every_family_is_printed_as_libapriltag_reads_it(void **state) {
    (void)state;
    static const char *const FAMILIES[] = {"tag36h10",      "tag25h9",          "tag16h5",
                                           "tagCircle21h7", "tagStandard41h12", "tagStandard52h13"};
    for (size_t i = 0; i < sizeof FAMILIES / sizeof *FAMILIES; i++) {
        char text[512];
        snprintf(text, sizeof text,
                 "sheet: F\ntitle: Family\nkind: plate\nsize_mm: [200, 200]\ntag_family: %s\n"
                 "tags: [{ id: 11, centre_mm: [5, -5], size_mm: 60 }]\n",
                 FAMILIES[i]);
        check_text_sheet(text, 300);
    }
}

/* Ink in a square about a place of the sheet: its area, mm^2, and where its middle lies from there.
 */
static double ink_about(const tr_image *image, tr_vec2 at_px, double half_mm, int dpi,
                        tr_vec2 *off_mm) {
    double mm = 25.4 / dpi;
    int reach = (int)lround(half_mm / mm);
    double sum = 0;
    *off_mm = tr_v2(0, 0);
    for (int dv = -reach; dv <= reach; dv++) {
        for (int du = -reach; du <= reach; du++) {
            int u = (int)lround(at_px.x) + du;
            int v = (int)lround(at_px.y) + dv;
            double ink = (255 - tr_image_row(image, v)[u]) / 255.0;
            sum += ink;
            *off_mm = tr_v2_add(*off_mm, tr_v2((u - at_px.x) * ink * mm, (v - at_px.y) * ink * mm));
        }
    }
    *off_mm = tr_v2_scale(1 / sum, *off_mm);
    return sum * mm * mm;
}

static void discs_are_printed_in_their_place_and_size(void **state) {
    (void)state;
    static const int DPI = 600;
    tr_sheet sheet;
    tr_error err = {0};
    write_text("discs.yaml",
               "sheet: D\ntitle: Discs\nkind: mat\nsize_mm: [200, 280]\ntag_family: tag36h11\n"
               "tags: [{ id: 40, centre_mm: [0, 90], size_mm: 60 }]\n"
               "discs:\n"
               "  - { centre_mm: [-60.5, -20], diameter_mm: 40 }\n"
               "  - { centre_mm: [40, -30.25], diameter_mm: 30, colour: white }\n");
    must(tr_sheet_read("discs.yaml", &sheet, &err), &err);
    tr_artwork artwork = lay_out(&sheet);
    tr_pages pages = plan(&artwork, NULL);
    print_pdf(&artwork, &pages, "discs.pdf");
    tr_image image = rasterise("discs.pdf", 1, DPI);
    for (int k = 0; k < 2; k++) {
        const tr_disc *d = &sheet.discs[k];
        double circle = TR_PI * d->diameter_mm * d->diameter_mm / 4;
        double ground = 1.5 * d->diameter_mm * 1.5 * d->diameter_mm;
        double half = d->is_white ? 0.8 * d->diameter_mm : 0.55 * d->diameter_mm;
        tr_vec2 at = pixel(on_page(pages.pages[0].origin_mm, d->centre_mm), DPI);
        tr_vec2 off;
        double ink = ink_about(&image, at, half, DPI, &off);
        double edge_mm = TR_PI * d->diameter_mm + (d->is_white ? 6 * d->diameter_mm : 0);
        CHECK_NEAR(ink, d->is_white ? ground - circle : circle, 0.01 * edge_mm);
        CHECK_NEAR(tr_v2_norm(off), 0, 0.01);
    }
    tr_image_release(&image);
    tr_pages_release(&pages);
    tr_artwork_release(&artwork);
    tr_sheet_release(&sheet);
}

/* The black ground of a white disc is ink, and has to lie clear of other marks. */
static void ground_of_a_white_disc_needs_room(void **state) {
    (void)state;
    tr_sheet sheet;
    tr_artwork artwork;
    tr_error err = {0};
    write_text("ground.yaml",
               "sheet: D\ntitle: Discs\nkind: mat\nsize_mm: [200, 280]\ntag_family: tag36h11\n"
               "tags: [{ id: 40, centre_mm: [0, 90], size_mm: 60 }]\n"
               "discs:\n"
               "  - { centre_mm: [-40, -20], diameter_mm: 40 }\n"
               "  - { centre_mm: [5, -20], diameter_mm: 40, colour: white }\n");
    must(tr_sheet_read("ground.yaml", &sheet, &err), &err);
    assert_false(tr_artwork_make(&sheet, &artwork, &err));
    assert_int_equal(err.line, 9);
    assert_non_null(strstr(err.text, "would lie over another mark"));
    tr_sheet_release(&sheet);
}

/* A checker corner is printed as the renderer of photos draws it, too: black above to the left. */
static void the_upper_left_square_is_black(void **state) {
    (void)state;
    tr_sheet plate = make(design_of(TR_DESIGN_PLATE, "P", 0, 0));
    tr_sheet board = make(design_of(TR_DESIGN_CHECKERBOARD, "B", 0, 0));
    tr_sheet *sheets[] = {&plate, &board};
    for (int i = 0; i < 2; i++) {
        tr_artwork artwork = lay_out(sheets[i]);
        tr_pages pages = plan(&artwork, NULL);
        print_pdf(&artwork, &pages, "squares.pdf");
        tr_image image = rasterise("squares.pdf", 1, 100);
        tr_vec2 corner = sheets[i]->corners_mm[0];
        for (int k = 0; k < 4; k++) {
            tr_vec2 beside = tr_v2_add(corner, tr_v2(k % 2 ? 5 : -5, k / 2 ? 5 : -5));
            tr_vec2 px = pixel(on_page(pages.pages[0].origin_mm, beside), 100);
            int grey = tr_image_row(&image, (int)lround(px.y))[lround(px.x)];
            bool is_black = k == 1 || k == 2; /* below to the right, above to the left */
            assert_int_equal(grey, is_black ? 0 : 255);
        }
        tr_image_release(&image);
        tr_pages_release(&pages);
        tr_artwork_release(&artwork);
        tr_sheet_release(sheets[i]);
    }
}

static void the_printed_rule_is_100_mm_long(void **state) {
    (void)state;
    static const int DPI = 600;
    tr_sheet plate = make(design_of(TR_DESIGN_PLATE, "P", 0, 0));
    tr_artwork a = lay_out(&plate);
    tr_pages pages = plan(&a, NULL);
    assert_true(a.rule_across.is_there && a.rule_up.is_there);
    print_pdf(&a, &pages, "rule.pdf");
    tr_image image = rasterise("rule.pdf", 1, DPI);
    for (int is_up = 0; is_up < 2; is_up++) {
        tr_area box = is_up ? a.rule_up.area : a.rule_across.area;
        tr_vec2 low = pixel(on_page(pages.pages[0].origin_mm, tr_v2(box.left, box.top)), DPI);
        tr_vec2 high = pixel(on_page(pages.pages[0].origin_mm, tr_v2(box.right, box.bottom)), DPI);
        /* Darkness along the rule through its ticks' upper part, where only the end ticks reach. */
        double first = 0, last = 0;
        int from = (int)(is_up ? low.y : low.x), to = (int)(is_up ? high.y : high.x);
        for (int i = from; i <= to; i++) {
            int across = (int)lround(is_up ? low.x + 0.2 * (high.x - low.x)
                                           : low.y + 0.2 * (high.y - low.y));
            int grey = is_up ? tr_image_row(&image, i)[across] : tr_image_row(&image, across)[i];
            if (grey > 127) continue;
            if (first == 0) first = i;
            last = i;
        }
        /* Outer edge to outer edge of two lines 0.2 mm wide, to a pixel. */
        CHECK_NEAR((last - first + 1) * 25.4 / DPI - 0.2, 100, 0.05);
    }
    tr_image_release(&image);
    tr_pages_release(&pages);
    tr_artwork_release(&a);
    tr_sheet_release(&plate);
}

/* ---- tiles ---- */

/* What is left of each tile when it is cut, pasted where its crosses meet those of the others. */
static void paste(tr_image *whole, const tr_image *tile, const tr_page *page, tr_vec2 face_mm,
                  int dpi) {
    tr_vec2 low = pixel(tr_v2(page->cut.left + face_mm.x / 2, face_mm.y / 2 - page->cut.top), dpi);
    tr_vec2 high =
        pixel(tr_v2(page->cut.right + face_mm.x / 2, face_mm.y / 2 - page->cut.bottom), dpi);
    tr_vec2 from = pixel(on_page(page->origin_mm, tr_v2(page->cut.left, page->cut.top)), dpi);
    for (int v = (int)ceil(low.y); v < high.y && v < whole->height; v++) {
        for (int u = (int)ceil(low.x); u < high.x && u < whole->width; u++) {
            int x = (int)lround(u - low.x + from.x);
            int y = (int)lround(v - low.y + from.y);
            assert_true(x >= 0 && y >= 0 && x < tile->width && y < tile->height);
            whole->px[(long)v * whole->width + u] = tr_image_row(tile, y)[x];
        }
    }
}

static void tiles_put_together_give_the_same_places(void **state) {
    (void)state;
    static const int DPI = 600;
    tr_design d = design_of(TR_DESIGN_MAT, "M", 390, 290);
    d.tag_mm = 48;
    tr_sheet mat = make(d);
    tr_artwork artwork = lay_out(&mat);
    tr_pages pages = plan(&artwork, "A4");
    tr_image whole;
    assert_true(pages.n > 1);
    print_pdf(&artwork, &pages, "tiles.pdf");
    assert_true(tr_image_init(&whole, 390 * DPI / 25, 290 * DPI / 25, NULL));
    memset(whole.px, 255, (size_t)whole.width * (size_t)whole.height);
    for (int i = 0; i < pages.n; i++) {
        tr_image tile = rasterise("tiles.pdf", i + 1, DPI);
        paste(&whole, &tile, &pages.pages[i], tr_v2(390, 290), DPI);
        /* Tags that are whole on a tile are in their places on it, too. */
        found_tags found = find_tags(&tile, FAMILY, DPI);
        for (int k = 0; k < mat.n_tags; k++) {
            tr_area part = pages.pages[i].part;
            tr_vec2 c = mat.tags[k].centre_mm;
            double half = 0.625 * mat.tags[k].size_mm;
            if (c.x - half < part.left || c.x + half > part.right || c.y - half < part.bottom ||
                c.y + half > part.top) {
                continue;
            }
            check_tag(&found, &mat.tags[k], pages.pages[i].origin_mm, DPI);
        }
        tr_image_release(&tile);
    }
    check_all_marks(&whole, &mat, tr_v2(195, 145), DPI);
    tr_image_release(&whole);
    tr_pages_release(&pages);
    tr_artwork_release(&artwork);
    tr_sheet_release(&mat);
}

/* Both tiles that a cut parts have the same crosses on it. */
static void neighbouring_tiles_share_their_crosses(void **state) {
    (void)state;
    static const int DPI = 200;
    tr_sheet mat = make(design_of(TR_DESIGN_MAT, "M", 760, 470));
    tr_artwork artwork = lay_out(&mat);
    tr_pages pages = plan(&artwork, "A3");
    print_pdf(&artwork, &pages, "tiles.pdf");
    assert_int_equal(pages.n, 4);
    tr_image left = rasterise("tiles.pdf", 1, DPI);
    tr_image right = rasterise("tiles.pdf", 2, DPI);
    int n_crosses = 0;
    double cut = pages.pages[0].cut.right;
    for (double y = pages.pages[0].cut.bottom + 2; y < pages.pages[0].cut.top - 2; y += 0.1) {
        /* 2 mm to the left and to the right of the cut a cross is a line and all else white. */
        bool is_dark[2];
        const tr_image *images[] = {&left, &right};
        for (int i = 0; i < 2; i++) {
            int darkest = 255;
            for (double aside = -3; aside <= 3; aside += 6) {
                tr_vec2 px = pixel(on_page(pages.pages[i].origin_mm, tr_v2(cut + aside, y)), DPI);
                int grey = tr_image_row(images[i], (int)lround(px.y))[lround(px.x)];
                darkest = grey < darkest ? grey : darkest;
            }
            is_dark[i] = darkest < 100;
        }
        n_crosses += is_dark[0] && is_dark[1];
    }
    assert_true(n_crosses > 3);
    tr_image_release(&left);
    tr_image_release(&right);
    tr_pages_release(&pages);
    tr_artwork_release(&artwork);
    tr_sheet_release(&mat);
}

/* Every place of the face is on a page, inside what printers print; cuts go through as few marks as
   need be. */
static void pages_cover_the_face(void **state) {
    (void)state;
    static const double SIZES[][2] = {{300, 300},  {420, 297},   {500, 320}, {760, 470},
                                      {1000, 700}, {1600, 1000}, {2400, 900}};
    static const char *const PAPER[] = {"A4", "A3", "Letter"};
    for (size_t i = 0; i < sizeof SIZES / sizeof *SIZES; i++) {
        tr_sheet mat = make(design_of(TR_DESIGN_MAT, "M", SIZES[i][0], SIZES[i][1]));
        tr_artwork a = lay_out(&mat);
        for (int k = 0; k < 3; k++) {
            tr_pages p = plan(&a, PAPER[k]);
            double area = 0;
            for (int j = 0; j < p.n; j++) {
                const tr_page *page = &p.pages[j];
                area += (page->cut.right - page->cut.left) * (page->cut.top - page->cut.bottom);
                assert_true(
                    page->part.left <= page->cut.left && page->part.right >= page->cut.right &&
                    page->part.bottom <= page->cut.bottom && page->part.top >= page->cut.top);
                tr_vec2 low = on_page(page->origin_mm, tr_v2(page->part.left, page->part.top));
                tr_vec2 high = on_page(page->origin_mm, tr_v2(page->part.right, page->part.bottom));
                double margin = p.has_frame ? TR_PAGE_MARGIN_MM - 1e-6 : 0;
                assert_true(low.x >= margin && low.y >= margin);
                assert_true(high.x <= p.width_mm - margin && high.y <= p.height_mm - margin);
            }
            CHECK_NEAR(area, SIZES[i][0] * SIZES[i][1], 1e-6);
            tr_pages_release(&p);
        }
        tr_artwork_release(&a);
        tr_sheet_release(&mat);
    }
}

/* On the mat of the starter kit no tag is cut, on either paper. */
static void cuts_go_round_tags(void **state) {
    (void)state;
    tr_design d = design_of(TR_DESIGN_MAT, "M", 760, 470);
    d.tag_mm = 80;
    tr_sheet mat = make(d);
    tr_artwork a = lay_out(&mat);
    static const char *const PAPER[] = {"A4", "A3"};
    for (int k = 0; k < 2; k++) {
        tr_pages p = plan(&a, PAPER[k]);
        for (int i = 0; i < mat.n_tags; i++) {
            int n_whole = 0;
            tr_area m = a.marks[i];
            for (int j = 0; j < p.n; j++) {
                tr_area cut = p.pages[j].cut;
                n_whole += m.left >= cut.left - 1e-6 && m.right <= cut.right + 1e-6 &&
                           m.bottom >= cut.bottom - 1e-6 && m.top <= cut.top + 1e-6;
            }
            assert_int_equal(n_whole, 1);
        }
        tr_pages_release(&p);
    }
    tr_artwork_release(&a);
    tr_sheet_release(&mat);
}

/* What the page shows of a rule's line: all of it, where the whole rule remains when it is cut, or
   nothing. Returns whether it is all. */
static bool check_rule(const tr_image *image, const tr_page *page, tr_placed rule, bool is_up,
                       int dpi) {
    tr_area r = rule.area, cut = page->cut;
    bool is_whole = rule.is_there && r.left >= cut.left - 1e-6 && r.right <= cut.right + 1e-6 &&
                    r.bottom >= cut.bottom - 1e-6 && r.top <= cut.top + 1e-6;
    tr_vec2 middle = tr_area_centre(r);
    for (double along = -45; along <= 45 && rule.is_there; along += 10) {
        tr_vec2 at = is_up ? tr_v2(r.right - 0.2, middle.y + along)
                           : tr_v2(middle.x + along, r.bottom + 0.2);
        tr_area part = page->part;
        if (at.x < part.left + 1 || at.x > part.right - 1 || at.y < part.bottom + 1 ||
            at.y > part.top - 1) {
            continue;
        }
        tr_vec2 px = pixel(on_page(page->origin_mm, at), dpi);
        assert_int_equal(tr_image_row(image, (int)lround(px.y))[lround(px.x)] < 160, is_whole);
    }
    return is_whole;
}

/* The sheet's own rules are not cut: each is whole on one page, or on none. That of the kit is. */
static void a_rule_is_never_cut(void **state) {
    (void)state;
    static const int DPI = 200;
    static const struct {
        double width_mm, height_mm, tag_mm;
    } MATS[] = {{760, 470, 80}, {300, 300, 0}, {1000, 700, 0}};
    static const char *const PAPER[] = {"A4", "A3"};
    for (int i = 0; i < 6; i++) {
        tr_design d = design_of(TR_DESIGN_MAT, "M", MATS[i / 2].width_mm, MATS[i / 2].height_mm);
        d.tag_mm = MATS[i / 2].tag_mm;
        tr_sheet mat = make(d);
        tr_artwork a = lay_out(&mat);
        tr_pages p = plan(&a, PAPER[i % 2]);
        int n_whole = 0;
        print_pdf(&a, &p, "rules.pdf");
        for (int k = 0; k < p.n; k++) {
            tr_image page = rasterise("rules.pdf", k + 1, DPI);
            n_whole += check_rule(&page, &p.pages[k], a.rule_across, false, DPI);
            n_whole += check_rule(&page, &p.pages[k], a.rule_up, true, DPI);
            tr_image_release(&page);
        }
        if (i < 2) assert_int_equal(n_whole, 2);
        tr_pages_release(&p);
        tr_artwork_release(&a);
        tr_sheet_release(&mat);
    }
}

/* Of a hub plate's note the letters stood on the end of a rule. */
static void a_note_keeps_clear_of_the_rules(void **state) {
    (void)state;
    tr_sheet hub = make(design_of(TR_DESIGN_HUB, "H1", 0, 0));
    tr_artwork a = lay_out(&hub);
    assert_true(a.note.is_there && a.rule_up.is_there && a.rule_across.is_there);
    tr_pages pages = plan(&a, NULL);
    print_pdf(&a, &pages, "hub.pdf");
    static const int DPI = 300;
    tr_image image = rasterise("hub.pdf", 1, DPI);
    /* 1 mm all round the note is white but for what stands beyond. */
    tr_vec2 low =
        pixel(on_page(pages.pages[0].origin_mm, tr_v2(a.note.area.left, a.note.area.top)), DPI);
    tr_vec2 high =
        pixel(on_page(pages.pages[0].origin_mm, tr_v2(a.note.area.right, a.note.area.bottom)), DPI);
    for (int v = (int)ceil(low.y + 1); v < high.y - 1; v++) {
        for (int u = (int)ceil(low.x + 1); u < low.x + 0.8 * DPI / 25.4; u++)
            assert_true(tr_image_row(&image, v)[u] > 250);
    }
    tr_image_release(&image);
    tr_pages_release(&pages);
    tr_artwork_release(&a);
    tr_sheet_release(&hub);
}

/* ---- page sizes ---- */

/* pdfinfo's "Page size" of the first page, mm. */
static tr_vec2 page_size(const char *pdf) {
    char text[4096];
    double width, height;
    assert_int_equal(shell("pdfinfo '%s' >info.txt", pdf), 0);
    read_text("info.txt", text, sizeof text);
    const char *line = strstr(text, "Page size:");
    assert_non_null(line);
    assert_int_equal(sscanf(line, "Page size: %lf x %lf pts", &width, &height), 2);
    return tr_v2(width * 25.4 / 72, height * 25.4 / 72);
}

static void pages_have_the_sizes_of_iso_216(void **state) {
    (void)state;
    /* Trimmed sizes, mm. Sources: ISO 216:2007, table 1 (main series A); ANSI/ASME Y14.1, size A:
       8.5 x 11 in. */
    static const struct {
        const char *name;
        double width_mm, height_mm;
    } SIZES[] = {{"A4", 210, 297}, {"A3", 297, 420}, {"Letter", 8.5 * 25.4, 11 * 25.4}};
    tr_sheet mat = make(design_of(TR_DESIGN_MAT, "M", 900, 600));
    tr_artwork a = lay_out(&mat);
    for (size_t i = 0; i < sizeof SIZES / sizeof *SIZES; i++) {
        tr_pages p = plan(&a, SIZES[i].name);
        print_pdf(&a, &p, "size.pdf");
        tr_vec2 size = page_size("size.pdf");
        CHECK_NEAR(fmin(size.x, size.y), SIZES[i].width_mm, 0.002);
        CHECK_NEAR(fmax(size.x, size.y), SIZES[i].height_mm, 0.002);
        char text[256];
        snprintf(text, sizeof text, "grep -qE 'Pages: +%d$' info.txt", p.n);
        assert_int_equal(shell("%s", text), 0);
        tr_pages_release(&p);
    }
    tr_pages own = plan(&a, NULL);
    print_pdf(&a, &own, "size.pdf");
    CHECK_NEAR(page_size("size.pdf").x, 900, 0.01);
    CHECK_NEAR(page_size("size.pdf").y, 600, 0.01);
    tr_pages_release(&own);
    tr_artwork_release(&a);
    tr_sheet_release(&mat);
}

/* ---- SVG ---- */

/* All vertices of black paths, and the root's size. */
typedef struct {
    char width[32], height[32], view_box[64], root[16];
    tr_vec2 *points;
    int n, capacity;
} svg;

static const char *attribute(const XML_Char **attributes, const char *name) {
    for (int i = 0; attributes[i]; i += 2) {
        if (strcmp(attributes[i], name) == 0) return attributes[i + 1];
    }
    return "";
}

static void start_element(void *context, const XML_Char *name, const XML_Char **attributes) {
    svg *s = context;
    if (!*s->root) {
        snprintf(s->root, sizeof s->root, "%s", name);
        snprintf(s->width, sizeof s->width, "%s", attribute(attributes, "width"));
        snprintf(s->height, sizeof s->height, "%s", attribute(attributes, "height"));
        snprintf(s->view_box, sizeof s->view_box, "%s", attribute(attributes, "viewBox"));
    }
    if (strcmp(name, "path") != 0) return;
    for (const char *d = attribute(attributes, "d"); *d; d++) {
        double x, y;
        if ((*d != 'M' && *d != 'L') || sscanf(d + 1, "%lf %lf", &x, &y) != 2) continue;
        if (s->n == s->capacity) {
            s->capacity = 2 * s->capacity + 1024;
            s->points = realloc(s->points, (size_t)s->capacity * sizeof *s->points);
            assert_non_null(s->points);
        }
        s->points[s->n++] = tr_v2(x, y);
    }
}

static bool has_vertex(const svg *s, tr_vec2 at) {
    for (int i = 0; i < s->n; i++) {
        if (tr_v2_norm(tr_v2_sub(s->points[i], at)) < 0.005) return true;
    }
    return false;
}

static void an_svg_has_its_size_in_mm_and_every_mark_in_its_place(void **state) {
    (void)state;
    uint8_t *data;
    size_t size;
    svg s = {.n = 0};
    tr_error err = {0};
    tr_sheet mat = read_source_sheet("testimages/sheets/mat-7.yaml");
    tr_artwork a = lay_out(&mat);
    tr_pages pages = plan(&a, NULL);
    must(tr_print_svg(&a, &pages, "mat.svg", &err), &err);
    assert_true(tr_file_read("mat.svg", 1 << 24, &data, &size, NULL));
    XML_Parser parser = XML_ParserCreate(NULL);
    XML_SetUserData(parser, &s);
    XML_SetStartElementHandler(parser, start_element);
    assert_int_equal(XML_Parse(parser, (const char *)data, (int)size, 1), XML_STATUS_OK);
    XML_ParserFree(parser);
    assert_string_equal(s.root, "svg");
    assert_string_equal(s.width, "1600mm");
    assert_string_equal(s.height, "1000mm");
    assert_string_equal(s.view_box, "0 0 1600 1000"); /* a user unit is 1 mm */
    for (int i = 0; i < mat.n_corners; i++)
        assert_true(has_vertex(&s, on_page(tr_v2(800, 500), mat.corners_mm[i])));
    for (int i = 0; i < mat.n_tags; i++) {
        for (int k = 0; k < 4; k++) {
            tr_vec2 corner = on_page(tr_v2(800, 500), tr_tag_corner(&mat.tags[i], k));
            assert_true(has_vertex(&s, corner));
        }
    }
    free(s.points);
    free(data);
    tr_pages_release(&pages);
    tr_artwork_release(&a);
    tr_sheet_release(&mat);
}

/* ---- checkerboard ---- */

static void a_printed_checkerboard_is_found_by_the_finder_of_boards(void **state) {
    (void)state;
    static const struct {
        int x, y;
        double pitch_mm;
    } BOARDS[] = {{10, 7, 25}, {9, 6, 28}, {8, 11, 30}};
    for (size_t i = 0; i < sizeof BOARDS / sizeof *BOARDS; i++) {
        static const int DPI = 130;
        tr_design d = design_of(TR_DESIGN_CHECKERBOARD, "B", 0, 0);
        d.squares_x = BOARDS[i].x;
        d.squares_y = BOARDS[i].y;
        d.pitch_mm = BOARDS[i].pitch_mm;
        tr_sheet sheet = make(d);
        tr_artwork a = lay_out(&sheet);
        tr_pages pages = plan(&a, NULL);
        tr_error err = {0};
        tr_board board = {BOARDS[i].x, BOARDS[i].y, BOARDS[i].pitch_mm};
        tr_board_view view;
        print_pdf(&a, &pages, "board.pdf");
        tr_image sharp = rasterise("board.pdf", 1, DPI);
        tr_image image = blurred_part(&sharp, 0, 0, sharp.width, sharp.height);
        tr_image_release(&sharp);
        must(tr_board_find(&image, &board, &view, &err), &err);
        assert_int_equal(view.n, sheet.n_corners);
        for (int k = 0; k < view.n; k++) {
            /* Numbered as in the file, too, where the ends can be told apart. */
            tr_vec2 place =
                tr_board_tells_ends(&board) ? sheet.corners_mm[view.corner[k]] : view.p_board_mm[k];
            CHECK_NEAR(place.x, view.p_board_mm[k].x, 1e-9);
            CHECK_NEAR(place.y, view.p_board_mm[k].y, 1e-9);
            check_place(view.uv_px[k], on_page(pages.pages[0].origin_mm, place), DPI);
        }
        tr_board_view_release(&view);
        tr_image_release(&image);
        tr_pages_release(&pages);
        tr_artwork_release(&a);
        tr_sheet_release(&sheet);
    }
}

/* Only a full grid is a board; with one corner less they are lone corners, each with squares of its
   own. */
static void only_a_full_grid_is_a_board(void **state) {
    (void)state;
    tr_sheet sheet = make(design_of(TR_DESIGN_CHECKERBOARD, "B", 0, 0));
    tr_artwork a = lay_out(&sheet);
    assert_int_equal(a.board.squares_x, 10);
    assert_int_equal(a.board.squares_y, 7);
    CHECK_NEAR(a.board.pitch_mm, 25, 1e-9);
    tr_artwork_release(&a);
    sheet.n_corners--;
    a = lay_out(&sheet);
    assert_int_equal(a.board.squares_x, 0);
    for (int i = 0; i < sheet.n_corners; i++) CHECK_AT_MOST(a.square_mm[i], 12.5);
    tr_artwork_release(&a);
    sheet.n_corners++;
    sheet.corners_mm[17].x += 0.1;
    a = lay_out(&sheet);
    assert_int_equal(a.board.squares_x, 0);
    tr_artwork_release(&a);
    tr_sheet_release(&sheet);
}

/* ---- designs ---- */

static void check_apart(const tr_area *areas, int n, tr_placed placed) {
    for (int i = 0; i < n && placed.is_there; i++) {
        bool meets =
            placed.area.left < areas[i].right - 1e-6 && placed.area.right > areas[i].left + 1e-6 &&
            placed.area.bottom < areas[i].top - 1e-6 && placed.area.top > areas[i].bottom + 1e-6;
        assert_false(meets);
    }
}

/* Of every size a design either is refused in words or is a sheet that the program reads back
   exactly, with nothing printed over its marks. */
static void designs_of_many_sizes_are_sound(void **state) {
    (void)state;
    static const double SIDES[] = {60, 150, 210, 297, 1000, 2500};
    enum { N = sizeof SIDES / sizeof *SIDES };
    tr_sheet_folder shop = {0};
    int n_made = 0;
    for (int i = 0; i < TR_N_DESIGNS * N * N; i++) {
        tr_sheet sheet, back;
        tr_error err = {0};
        tr_design d =
            design_of((tr_design_kind)(i / (N * N)), "S-1", SIDES[i / N % N], SIDES[i % N]);
        d.id_low = 20;
        if (!tr_design_make(&d, &shop, &sheet, &err)) {
            assert_true(err.code == TR_BAD_INPUT && strstr(err.text, "give "));
            continue;
        }
        n_made++;
        must(tr_sheet_write("s.yaml", &sheet, &err), &err);
        must(tr_sheet_read("s.yaml", &back, &err), &err);
        assert_string_equal(back.title, sheet.title);
        assert_int_equal(back.kind, sheet.kind);
        assert_int_equal(back.n_tags, sheet.n_tags);
        assert_int_equal(back.n_corners, sheet.n_corners);
        for (int k = 0; k < sheet.n_tags; k++) {
            assert_int_equal(back.tags[k].id, 20 + k);
            assert_memory_equal(&back.tags[k].centre_mm, &sheet.tags[k].centre_mm, sizeof(tr_vec2));
            CHECK_NEAR(back.tags[k].size_mm, sheet.tags[k].size_mm, 0);
        }
        assert_int_equal(back.has_tip, sheet.has_tip);
        assert_memory_equal(&back.tip_mm, &sheet.tip_mm, sizeof(tr_vec2));
        assert_memory_equal(back.corners_mm, sheet.corners_mm,
                            (size_t)sheet.n_corners * sizeof(tr_vec2));
        tr_artwork a = lay_out(&sheet);
        const tr_placed placed[] = {a.centre,  a.plumb, a.tip,   a.foot, a.rule_across,
                                    a.rule_up, a.id,    a.arrow, a.note};
        for (int k = 0; k < 9; k++) check_apart(a.marks, a.n_marks, placed[k]);
        tr_artwork_release(&a);
        tr_sheet_release(&sheet);
        tr_sheet_release(&back);
    }
    assert_true(n_made > 60);
}

/* Without --size a checkerboard gets a face that holds it and its tag. */
static void a_checkerboard_of_any_pitch_has_a_size(void **state) {
    (void)state;
    static const int SQUARES[][2] = {{10, 7}, {5, 6}};
    static const char *const FAMILIES[] = {"tag36h11", "tagStandard52h13"};
    static const double TAGS_MM[] = {0, 40};
    static const double PITCHES_MM[] = {5, 25, 25.5, 28, 40, 41.9, 60, 120};
    for (int i = 0; i < 8; i++) {
        tr_design d = design_of(TR_DESIGN_CHECKERBOARD, "Q", 0, 0);
        d.squares_x = SQUARES[i % 2][0];
        d.squares_y = SQUARES[i % 2][1];
        d.family = FAMILIES[i / 2 % 2];
        d.id_high = 20;
        d.tag_mm = TAGS_MM[i / 4];
        for (int k = 0; k < 8; k++) {
            d.pitch_mm = PITCHES_MM[k];
            tr_sheet sheet = make(d);
            assert_int_equal(sheet.n_corners, (d.squares_x - 1) * (d.squares_y - 1));
            assert_int_equal(sheet.n_tags, 1);
            assert_true(sheet.tags[0].size_mm >= 5);
            tr_sheet_release(&sheet);
        }
    }
    outcome o = run("design checkerboard --name Q40 --squares 10x7 --pitch 40 --out q40.yaml");
    assert_int_equal(o.status, PASS);
    assert_int_equal(run("print q40.yaml --out q40.pdf").status, PASS);
    /* Paper where it can be. */
    tr_sheet sheet = make(design_of(TR_DESIGN_CHECKERBOARD, "B", 0, 0));
    CHECK_NEAR(sheet.width_mm, 297, 0);
    CHECK_NEAR(sheet.height_mm, 210, 0);
    tr_sheet_release(&sheet);
}

static void numbers_and_names_are_read_back_exactly(void **state) {
    (void)state;
    tr_tag tags[] = {{.id = 3, .centre_mm = {0.1, -1 / 3.0}, .size_mm = 17.77, .turn_rad = 0.7},
                     {.id = 4, .centre_mm = {30, 1e-7}, .size_mm = 20, .turn_rad = TR_PI / 2}};
    tr_vec2 corners[] = {{-25.4 / 3, 40}};
    tr_sheet sheet = {.id = "12\"\\ 1e3",
                      .title = "Nø: – 北 #1",
                      .kind = TR_SHEET_HUB,
                      .width_mm = 123.456,
                      .height_mm = 200,
                      .tag_family = "tag25h9",
                      .tags = tags,
                      .n_tags = 2,
                      .corners_mm = corners,
                      .n_corners = 1};
    tr_sheet back;
    tr_error err = {0};
    must(tr_sheet_write("s.yaml", &sheet, &err), &err);
    must(tr_sheet_read("s.yaml", &back, &err), &err);
    assert_string_equal(back.id, sheet.id);
    assert_string_equal(back.title, sheet.title);
    assert_string_equal(back.tag_family, sheet.tag_family);
    assert_int_equal(back.kind, TR_SHEET_HUB);
    CHECK_NEAR(back.width_mm, 123.456, 0);
    for (int i = 0; i < 2; i++) {
        CHECK_NEAR(back.tags[i].centre_mm.x, tags[i].centre_mm.x, 0);
        CHECK_NEAR(back.tags[i].centre_mm.y, tags[i].centre_mm.y, 0);
        CHECK_NEAR(back.tags[i].size_mm, tags[i].size_mm, 0);
        CHECK_NEAR(back.tags[i].turn_rad, tags[i].turn_rad, 2e-16);
    }
    CHECK_NEAR(back.corners_mm[0].x, corners[0].x, 0);
    char text[2048];
    read_text("s.yaml", text, sizeof text);
    check_has(text, "centre_mm: [0.1, -0.3333333333333333]");
    check_has(text, "centre_mm: [30, 1.0e-07], size_mm: 20, turn_deg: 90 }");
    tr_sheet_release(&back);
}

static void tag_ids_are_never_given_twice(void **state) {
    (void)state;
    assert_int_equal(mkdir("shop", 0777), 0);
    write_text("shop/layout.yaml", "layout: L\nplacements: []\n");
    write_text("shop/notes.txt", "sheet");
    write_text("shop/old.yml",
               "sheet: OLD\ntitle: Old\nkind: plate\nsize_mm: [200, 200]\ntag_family: tag36h11\n"
               "tags: [{ id: 101, centre_mm: [0, 0], size_mm: 100 }]\n");
    write_text("shop/other.yaml",
               "sheet: OTHER\ntitle: Of another family\nkind: plate\nsize_mm: [200, 200]\n"
               "tag_family: tag36h10\ntags: [{ id: 100, centre_mm: [0, 0], size_mm: 100 }]\n");
    outcome o = run("design plate --name P-1 --ids 100..105 --out shop/p-1.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tags, of tag36h11: 100, 102");
    check_has(o.out, "OLD: 101");
    o = run("design plate --name P-2 --ids 100..105 --out shop/p-2.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tags, of tag36h11: 103 to 104\n");
    check_has(o.out, "P-1: 100, 102");
    /* The range is used up: one is left, two are needed. */
    o = run("design plate --name P-3 --ids 100..105 --out shop/p-3.yaml");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "needs 2 tags, but 1 of tag36h11 100..105 can be had");
    assert_int_equal(access("shop/p-3.yaml", F_OK), -1);
    /* A name that a sheet has; a file that is there. */
    o = run("design plate --name OLD --out shop/p-3.yaml");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "the name OLD is used already, in shop/old.yml");
    o = run("design plate --name P-3 --out shop/p-2.yaml");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "already exists");
    /* Elsewhere than the shop's folder, but with its sheets in mind. */
    o = run("design plate --name P-3 --ids 100..199 --sheets shop --out p-3.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tags, of tag36h11: 105 to 106\n");
    /* A sheet file that cannot be read may hold any id. */
    write_text("shop/broken.yaml", "sheet: B\ntags: [{ id: 107 }]\n");
    o = run("design plate --name P-4 --out shop/p-4.yaml");
    assert_int_equal(o.status, NO_MEASURE);
    check_has(o.err, "shop/broken.yaml");
    assert_int_equal(access("shop/p-4.yaml", F_OK), -1);
}

/* ---- the program ---- */

static void check_lines_fit(const char *text) {
    for (const char *line = text; *line; line += strcspn(line, "\n") + 1)
        assert_true(strcspn(line, "\n") <= 80);
}

/* Many ids as ranges, in lines of a terminal; a command that a shell can be given as it stands. */
static void what_was_designed_is_told_in_few_words(void **state) {
    (void)state;
    outcome o = run("design mat --name M --size 6000x6000 --tag 100 --out m.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tags, of tag36h11: 0 to ");
    check_lines_fit(o.out);
    /* Every other id is taken. */
    enum { N = 90 };
    FILE *to = fopen("every.yaml", "w");
    assert_non_null(to);
    fputs("sheet: EVERY\ntitle: Every other\nkind: mat\nsize_mm: [9000, 200]\n"
          "tag_family: tag36h11\ntags:\n",
          to);
    for (int i = 0; i < N; i++)
        fprintf(to, "  - { id: %d, centre_mm: [%d, 0], size_mm: 60 }\n", 300 + 2 * i,
                100 * i - 4450);
    fclose(to);
    o = run("design mat --name N --size 2000x2000 --tag 100 --ids 300..586 --out n.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tags, of tag36h11: 301, 303, 305");
    check_has(o.out, "EVERY: 300, 302, 304");
    check_lines_fit(o.out);
    o = run("design plate --name P --ids 490..586 --out 'it'\\''s Tür Ä 7.yaml'");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "trammel print 'it'\\''s Tür Ä 7.yaml' --out FILE.pdf");
    o = run("design plate --name Q --ids 490..586 --out plain_7.yaml");
    check_has(o.out, "trammel print plain_7.yaml --out FILE.pdf");
    o = run("design hub --name H --ids 490..586 --out h.yaml");
    check_has(o.out, "a job needs its standoff_mm");
    o = run("design plate --name "
            "0123456789012345678901234567890123456789012345678901234567890123 --out x.yaml");
    assert_int_equal(o.status, USAGE);
    check_has(o.err, "'--name' is not one line of at most 63 letters");
}

static void the_same_sheet_gives_the_same_bytes_without_a_time(void **state) {
    (void)state;
    static const char *const FILES[] = {"a.pdf", "a.svg"};
    assert_int_equal(run("design mat --name M --size 500x400 --out m.yaml").status, PASS);
    for (int i = 0; i < 2; i++) {
        char arguments[64];
        uint8_t *first, *second;
        size_t n_first, n_second;
        snprintf(arguments, sizeof arguments, "print m.yaml --out %s", FILES[i]);
        assert_int_equal(run(arguments).status, PASS);
        assert_true(tr_file_read(FILES[i], 1 << 24, &first, &n_first, NULL));
        assert_int_equal(sleep(1), 0); /* a time would differ */
        assert_int_equal(run(arguments).status, PASS);
        assert_true(tr_file_read(FILES[i], 1 << 24, &second, &n_second, NULL));
        assert_int_equal(n_first, n_second);
        assert_memory_equal(first, second, n_first);
        free(first);
        free(second);
    }
    assert_int_equal(shell("! pdfinfo a.pdf | grep -q Date"), 0);
}

static void words_of_any_script_are_printed(void **state) {
    (void)state;
    char text[8192];
    assert_int_equal(run("design plate --name 'PLATTE-Ä' --title 'Für das Rad vorn – № 1, Ω' "
                         "--out p.yaml")
                         .status,
                     PASS);
    assert_int_equal(run("print p.yaml --out p.pdf").status, PASS);
    assert_int_equal(shell("pdftotext p.pdf p.txt"), 0);
    read_text("p.txt", text, sizeof text);
    check_has(text, "PLATTE-Ä");
    check_has(text, "Für das Rad vorn – № 1, Ω");
    check_has(text, "Print at 100 %");
    check_has(text, "Check before use");
    assert_int_equal(shell("pdfinfo p.pdf | grep -q 'PLATTE-Ä: Für das Rad vorn'"), 0);
    /* Every page of tiles says how to print it, and which it is. */
    assert_int_equal(run("design mat --name M --size 700x500 --out m.yaml").status, PASS);
    outcome o = run("print m.yaml --page a4 --out m.pdf");
    assert_int_equal(o.status, PASS);
    int n;
    assert_int_equal(sscanf(strstr(o.out, "mm on ") + 6, "%d", &n), 1);
    for (int i = 1; i <= n; i++) {
        char where[64];
        snprintf(where, sizeof where, "M, page %d of %d", i, n);
        assert_int_equal(shell("pdftotext -f %d -l %d m.pdf m.txt", i, i), 0);
        read_text("m.txt", text, sizeof text);
        check_has(text, where);
        check_has(text, "Print at 100 %, not “fit to page”");
        check_has(text, "crop marks");
    }
}

/* Words between single blanks, so that line breaks do not matter. */
static void flatten(char *text) {
    char *to = text;
    for (const char *from = text; *from; from++) {
        bool is_blank = strchr(" \n\f", *from) != NULL;
        if (is_blank && to > text && to[-1] == ' ') continue;
        *to++ = *from;
        if (is_blank) to[-1] = ' ';
    }
    *to = 0;
}

/* Pages, help and README. */
static void how_to_cut_tiles_is_told_alike(void **state) {
    (void)state;
    static char pages[16384], readme[65536], path[TEMP_SIZE];
    assert_int_equal(run("design mat --name M --size 700x500 --out m.yaml").status, PASS);
    assert_int_equal(run("print m.yaml --page A4 --out m.pdf").status, PASS);
    assert_int_equal(shell("pdftotext -l 1 m.pdf m.txt"), 0);
    read_text("m.txt", pages, sizeof pages);
    outcome o = run("help print");
    read_text(temp_path(path, getenv("TRAMMEL_SOURCE"), "README.md"), readme, sizeof readme);
    char *const texts[] = {pages, o.out, readme};
    for (int i = 0; i < 3; i++) {
        flatten(texts[i]);
        check_has(texts[i],
                  "joins another on the right or below, cut it at the crop marks there, ");
        check_has(texts[i], "lay it over that neighbour so that the crosses meet");
    }
}

/* git is told what a reader makes by following it. */
static void the_starter_kit_leaves_nothing_for_git(void **state) {
    (void)state;
    char path[TEMP_SIZE], text[256];
    read_text(temp_path(path, getenv("TRAMMEL_SOURCE"), "testimages/kit/.gitignore"), text,
              sizeof text);
    assert_string_equal(text, "/board/\n/photos/\n/lens/\n/result.png\n");
}

static void what_does_not_fit_is_told(void **state) {
    (void)state;
    write_text("small.yaml",
               "sheet: SMALL\ntitle: Small\nkind: plate\nsize_mm: [80, 80]\ntag_family: tag36h11\n"
               "tags: [{ id: 1, centre_mm: [0, 0], size_mm: 60 }]\n");
    outcome o = run("print small.yaml --out small.pdf");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "there is no room for the 100 mm rule across");
    check_has(o.out, "there is no room for the upright 100 mm rule");
    check_has(o.out, "there is no room for the up arrow");
    check_has(o.out, "there is no room for a plumb mark near the middle of an edge");
    /* What is not there is not to be measured. */
    check_has(o.out, "measure the black square of a tag before\nuse: 60 mm both ways");
    assert_null(strstr(o.out, "the printed rules"));
    /* On a page with a frame there are rules. */
    o = run("print small.yaml --page A4 --out small.pdf");
    check_has(o.out, "measure the printed rules before use: 100");
}

static void bad_input_is_refused_in_words_and_nothing_is_written(void **state) {
    (void)state;
    static const struct {
        const char *arguments;
        int status;
        const char *says;
    } CASES[] = {
        {"print", USAGE, "no sheet file is named"},
        {"print a.yaml", USAGE, "'--out' is missing"},
        {"print good.yaml b.yaml --out bad.pdf", USAGE, "one word too many"},
        {"print good.yaml --out bad.png", USAGE, "give it a name that ends in .pdf or .svg"},
        {"print good.yaml --out .pdf", USAGE, "give it a name that ends in .pdf or .svg"},
        {"print good.yaml --out bad.pdf --page B5", USAGE, "is not a known page size"},
        {"print good.yaml --out bad.svg --page A4", USAGE, "an SVG is one page"},
        {"print good.yaml --out bad.pdf --overlap 51", USAGE, "from 0 to 50 mm"},
        {"print good.yaml --out bad.pdf --overlap nan", USAGE, "from 0 to 50 mm"},
        {"print good.yaml --out bad.pdf --out x.pdf", USAGE, "given twice"},
        {"print good.yaml --out", USAGE, "'--out' needs a value"},
        {"print good.yaml --scale 2", USAGE, "there is no option '--scale'"},
        {"print not-there.yaml --out bad.pdf", NO_MEASURE, "does not exist"},
        {"print good.yaml --out no/folder/bad.pdf", NO_MEASURE, "make the folder first"},
        {"print good.yaml --out folder.pdf", NO_MEASURE, "not a regular file"},
        {"print huge.yaml --out bad.pdf", NO_MEASURE, "a page can have at most 5080 mm"},
        {"print huge.yaml --out bad.svg", NO_MEASURE, "a page can have at most 5080 mm"},
        {"print huge.yaml --out bad.pdf", NO_MEASURE, "print it in tiles (--page A3)"},
        {"print huge.yaml --page A4 --out bad.pdf", NO_MEASURE, "more than 500 pages of A4"},
        {"print huge.yaml --page A4 --out bad.pdf", NO_MEASURE, "print it in tiles (--page A3)"},
        {"print field.yaml --out bad.pdf", NO_MEASURE, "at most 5080 mm; make it in several"},
        {"print field.yaml --page A4 --out bad.pdf", NO_MEASURE,
         "pages of A4; make it in several sheets"},
        {"print field.yaml --page A3 --out bad.pdf", NO_MEASURE,
         "pages of A3; make it in several sheets"},
        {"print long.yaml --page A4 --overlap 50 --out bad.pdf", NO_MEASURE,
         "on one page of its own size (--page own)"},
        {"print crowded.yaml --out bad.pdf", NO_MEASURE, "corners_mm[1] leaves its squares 2.0 mm"},
        {"print rim.yaml --out bad.pdf", NO_MEASURE, "reaches into the white rim of tag 1"},
        {"design", USAGE, "no design is named"},
        {"design poster --name X --out bad.yaml", USAGE, "there is no design 'poster'"},
        {"design plate --out bad.yaml", USAGE, "'--name' is missing"},
        {"design plate --name '' --out bad.yaml", USAGE, "not one line"},
        {"design plate --name X", USAGE, "'--out' is missing"},
        {"design plate --name X --out bad.pdf", USAGE, "give it a name that ends in .yaml"},
        {"design plate --name X --out bad.yaml --size 200", USAGE, "is not WIDTHxHEIGHT"},
        {"design plate --name X --out bad.yaml --size 200x0", USAGE, "is not WIDTHxHEIGHT"},
        {"design plate --name X --out bad.yaml --tag -5", USAGE, "is not a length in mm"},
        {"design plate --name X --out bad.yaml --pitch 5", USAGE, "is for a checkerboard"},
        {"design checkerboard --name X --out bad.yaml", USAGE, "needs '--squares' and '--pitch'"},
        {"design checkerboard --name X --out bad.yaml --squares 3x7 --pitch 20", USAGE,
         "from 4x4 to 100x100"},
        {"design checkerboard --name X --out bad.yaml --squares 10.5x7 --pitch 20", USAGE,
         "from 4x4 to 100x100"},
        {"design plate --name X --out bad.yaml --ids 9..5", USAGE, "not a range A..B"},
        {"design plate --name X --out bad.yaml --ids 5", USAGE, "not a range A..B"},
        {"design plate --name X --out bad.yaml --ids 0..587", USAGE, "within 0..586"},
        {"design plate --name X --out bad.yaml --ids 99999999999999999999..5", USAGE,
         "not a range A..B"},
        {"design plate --name X --out bad.yaml --family tag99", USAGE, "is not known here"},
        {"design plate --name X --out bad.yaml --ids 9..9", NO_MEASURE,
         "but 1 of tag36h11 9..9 can be had"},
        {"design plate --name X --out no/folder/bad.yaml", NO_MEASURE, "is not a folder"},
        {"design plate --name X --out bad.yaml --sheets no/shop", NO_MEASURE, "is not a folder"},
        {"design plate --name X --out bad.yaml --size 60x60", NO_MEASURE, "give a larger --size"},
        {"design plate --name X --out bad.yaml --tag 150", NO_MEASURE, "give --tag from"},
        {"design mat --name X --out bad.yaml --size 90000x90000 --tag 100", NO_MEASURE,
         "needs 1200 tags"},
        {"design checkerboard --name X --out bad.yaml --squares 10x7 --pitch 25 --size 255x180",
         NO_MEASURE, "leave no margin"},
    };
    write_text("good.yaml",
               "sheet: GOOD\ntitle: Good\nkind: plate\nsize_mm: [200, 200]\n"
               "tag_family: tag36h11\ntags: [{ id: 1, centre_mm: [0, 0], size_mm: 100 }]\n");
    write_text("huge.yaml",
               "sheet: HUGE\ntitle: Huge\nkind: mat\nsize_mm: [6000, 5000]\n"
               "tag_family: tag36h11\ntags: [{ id: 2, centre_mm: [0, 0], size_mm: 100 }]\n");
    write_text("field.yaml",
               "sheet: FIELD\ntitle: Field\nkind: mat\nsize_mm: [20000, 20000]\n"
               "tag_family: tag36h11\ntags: [{ id: 2, centre_mm: [0, 0], size_mm: 100 }]\n");
    write_text("long.yaml",
               "sheet: LONG\ntitle: Long\nkind: mat\nsize_mm: [5000, 5000]\n"
               "tag_family: tag36h11\ntags: [{ id: 2, centre_mm: [0, 0], size_mm: 100 }]\n");
    write_text("crowded.yaml",
               "sheet: C\ntitle: Crowded\nkind: plate\nsize_mm: [300, 200]\ntag_family: tag36h11\n"
               "tags: [{ id: 3, centre_mm: [0, 0], size_mm: 80 }]\n"
               "corners_mm: [[-100, 0], [52.105263157894733, 0]]\n");
    write_text("rim.yaml",
               "sheet: R\ntitle: Rim\nkind: plate\nsize_mm: [300, 200]\ntag_family: tag36h11\n"
               "tags: [{ id: 1, centre_mm: [-40, 0], size_mm: 80 },\n"
               "       { id: 2, centre_mm: [45, 0], size_mm: 80, turn_deg: 90 }]\n");
    assert_int_equal(mkdir("folder.pdf", 0777), 0);
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        int before = temp_count(".");
        outcome o = run(CASES[i].arguments);
        if (o.status != CASES[i].status)
            print_error("%s: status %d: %s\n", CASES[i].arguments, o.status, o.err);
        assert_int_equal(o.status, CASES[i].status);
        check_has(o.err, CASES[i].says);
        assert_string_equal(o.out, "");
        assert_int_equal(temp_count("."), before);
    }
}

static void help_fits_a_terminal(void **state) {
    (void)state;
    static const char *const ASKED[] = {"print --help", "help design", "help"};
    for (size_t i = 0; i < sizeof ASKED / sizeof *ASKED; i++) {
        outcome o = run(ASKED[i]);
        assert_int_equal(o.status, PASS);
        check_has(o.out, "usage:");
        check_has(o.out, "chock");
        for (const char *line = o.out; *line; line += strcspn(line, "\n") + 1)
            assert_true(strcspn(line, "\n") <= 80);
    }
    check_has(run("help design").out, "--sheets DIR");
    check_has(run("print -h").out, "--overlap MM");
}

/* ---- plumb marks ---- */

static tr_sheet text_plate(double width_mm, double height_mm, tr_vec2 tag_mm, double tag_size_mm) {
    char text[512];
    tr_sheet sheet;
    tr_error err = {0};
    snprintf(text, sizeof text,
             "sheet: P\ntitle: Plate\nkind: plate\nsize_mm: [%g, %g]\ntag_family: tag36h11\n"
             "tags: [{ id: 1, centre_mm: [%g, %g], size_mm: %g }]\n",
             width_mm, height_mm, tag_mm.x, tag_mm.y, tag_size_mm);
    write_text("plate.yaml", text);
    must(tr_sheet_read("plate.yaml", &sheet, &err), &err);
    return sheet;
}

/* 10 mm inside the right long edge, or another one where marks are in the way. */
static void a_plate_has_a_plumb_mark_near_an_edge(void **state) {
    (void)state;
    static const struct {
        double width_mm, height_mm;
        tr_vec2 tag_mm;
        double tag_size_mm;
        int edge;
        tr_vec2 plumb_mm;
        const char *text;
    } PLATES[] = {
        {210, 297, {0, 60}, 100, TR_RIGHT, {95, 0}, "at_mm: [95, 0]"},
        {210, 297, {30, 0}, 100, TR_LEFT, {-95, 0}, "at_mm: [-95, 0]"},
        {200, 200, {20, 80}, 30, TR_RIGHT, {90, 0}, "at_mm: [90, 0]"},
        {300, 140, {-80, 0}, 80, TR_TOP, {0, 60}, "at_mm: [0, 60]"},
        {300, 141.3, {0, 15}, 80, TR_BOTTOM, {0, -60.5}, "at_mm: [0, -60.5]"},
        {210, 297, {60, 40}, 60, TR_RIGHT, {95, -25}, "at_mm: [95, -25]"},
    };
    for (size_t i = 0; i < sizeof PLATES / sizeof *PLATES; i++) {
        tr_sheet s = text_plate(PLATES[i].width_mm, PLATES[i].height_mm, PLATES[i].tag_mm,
                                PLATES[i].tag_size_mm);
        tr_artwork a = lay_out(&s);
        assert_true(a.plumb.is_there);
        assert_int_equal(a.plumb_edge, PLATES[i].edge);
        CHECK_NEAR(a.plumb_mm.x, PLATES[i].plumb_mm.x, 1e-9);
        CHECK_NEAR(a.plumb_mm.y, PLATES[i].plumb_mm.y, 1e-9);
        assert_string_equal(a.at_text, PLATES[i].text);
        /* The cross is where the text says, in a circle that is white between them. */
        static const int DPI = 300;
        tr_pages pages = plan(&a, NULL);
        print_pdf(&a, &pages, "plumb.pdf");
        tr_image image = rasterise("plumb.pdf", 1, DPI);
        for (int k = 0; k < 4; k++) {
            tr_vec2 arm = tr_v2(k % 2 ? 0 : k - 1, k % 2 ? k - 2 : 0);
            tr_vec2 on = pixel(
                on_page(pages.pages[0].origin_mm, tr_v2_add(a.plumb_mm, tr_v2_scale(2.8, arm))),
                DPI);
            tr_vec2 off =
                pixel(on_page(pages.pages[0].origin_mm,
                              tr_v2_add(a.plumb_mm, tr_v2(k % 2 ? 1 : -1, k / 2 ? 1 : -1))),
                      DPI);
            assert_true(tr_image_row(&image, (int)lround(on.y))[lround(on.x)] < 128);
            assert_true(tr_image_row(&image, (int)lround(off.y))[lround(off.x)] > 250);
        }
        tr_image_release(&image);
        tr_pages_release(&pages);
        tr_artwork_release(&a);
        tr_sheet_release(&s);
    }
    tr_sheet hub = make(design_of(TR_DESIGN_HUB, "H", 0, 0));
    tr_artwork a = lay_out(&hub);
    assert_false(a.plumb.is_there);
    tr_artwork_release(&a);
    tr_sheet_release(&hub);
}

static void what_a_job_needs_of_a_plumb_mark_is_told(void **state) {
    (void)state;
    char text[8192];
    outcome o = run("design plate --name P --out p.yaml");
    check_has(o.out, "Plumb mark: at_mm: [95, 0]. Its edge goes against the tyre");
    o = run("print p.yaml --out p.pdf");
    check_has(o.out, "Plumb mark: at_mm: [95, 0]. Its edge goes against the tyre");
    assert_int_equal(shell("pdftotext p.pdf p.txt"), 0);
    read_text("p.txt", text, sizeof text);
    check_has(text, "at_mm: [95, 0]");
    check_has(text, "this edge to the tyre");
    o = run("design plate --name Q --size 100x60 --out q.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "there is no room for a plumb mark");
    check_has(run("help check").out, "at_mm: [95, 0]");
}

/* ---- tips and feet ---- */

/* How dark the page is at a place of the sheet, 0 to 255. */
static int grey_at(const tr_image *image, const tr_page *page, tr_vec2 p_sheet_mm, int dpi) {
    tr_vec2 px = pixel(on_page(page->origin_mm, p_sheet_mm), dpi);
    return tr_image_row(image, (int)lround(px.y))[lround(px.x)];
}

static tr_sheet text_pointer(tr_vec2 tag_mm, tr_vec2 tip_mm) {
    char text[512];
    tr_sheet sheet;
    tr_error err = {0};
    snprintf(text, sizeof text,
             "sheet: T\ntitle: Pointer\nkind: plate\nsize_mm: [180, 260]\ntag_family: tag36h11\n"
             "tags: [{ id: 1, centre_mm: [%g, %g], size_mm: 60 }]\ntip_mm: [%g, %g]\n",
             tag_mm.x, tag_mm.y, tip_mm.x, tip_mm.y);
    write_text("pointer.yaml", text);
    must(tr_sheet_read("pointer.yaml", &sheet, &err), &err);
    return sheet;
}

/* Where the ink begins on the way to a place, from `from_mm` before it; INFINITY: nowhere. */
static double first_ink(const tr_image *image, const tr_page *page, tr_vec2 tip_mm, tr_vec2 inward,
                        double from_mm, int dpi) {
    for (double t = -from_mm; t <= from_mm; t += 0.01) {
        if (grey_at(image, page, tr_v2_add(tip_mm, tr_v2_scale(t, inward)), dpi) < 128) return t;
    }
    return INFINITY;
}

/* At every edge the ink ends at the tip, and widens behind it alike on both sides. */
static void a_pointers_tip_is_where_its_file_says(void **state) {
    (void)state;
    static const int DPI = 1200;
    static const struct {
        tr_vec2 tag_mm, tip_mm, inward;
        const char *text;
    } POINTERS[] = {
        {{0, -60}, {0, 127}, {0, -1}, "at_mm: [0, 127]"},
        {{0, 60}, {20.5, -126}, {0, 1}, "at_mm: [20.5, -126]"},
        {{-40, 0}, {87, 10}, {-1, 0}, "at_mm: [87, 10]"},
        {{40, 0}, {-87, 10}, {1, 0}, "at_mm: [-87, 10]"},
    };
    for (size_t i = 0; i < sizeof POINTERS / sizeof *POINTERS; i++) {
        tr_vec2 tip = POINTERS[i].tip_mm, inward = POINTERS[i].inward;
        tr_vec2 aside = tr_v2(inward.y, inward.x);
        tr_sheet s = text_pointer(POINTERS[i].tag_mm, tip);
        tr_artwork a = lay_out(&s);
        assert_true(a.tip.is_there && !a.plumb.is_there);
        assert_string_equal(a.at_text, POINTERS[i].text);
        tr_pages pages = plan(&a, NULL);
        print_pdf(&a, &pages, "tip.pdf");
        tr_image image = rasterise("tip.pdf", 1, DPI);
        /* The last 0.05 mm are thinner than a pixel. */
        CHECK_NEAR(first_ink(&image, &pages.pages[0], tip, inward, 2, DPI), 0.03, 0.06);
        for (int side = -1; side <= 1; side += 2) {
            tr_vec2 edge = tr_v2_add(tr_v2_scale(7, inward), tr_v2_scale(2 * side, aside));
            tr_vec2 in = tr_v2_add(tip, tr_v2_scale(0.95, edge));
            in = tr_v2_add(in, tr_v2_scale(0.5, inward));
            tr_vec2 out = tr_v2_sub(tr_v2_add(tip, edge), tr_v2_scale(0.5, inward));
            assert_true(grey_at(&image, &pages.pages[0], in, DPI) < 10);
            assert_true(grey_at(&image, &pages.pages[0], out, DPI) > 245);
        }
        tr_image_release(&image);
        tr_pages_release(&pages);
        tr_artwork_release(&a);
        tr_sheet_release(&s);
    }
}

static void what_a_job_needs_of_a_tip_is_told(void **state) {
    (void)state;
    char text[8192];
    outcome o = run("design pointer --name T --out t.yaml");
    assert_int_equal(o.status, PASS);
    check_has(o.out, "Tip: at_mm: [0, 127].");
    assert_null(strstr(o.out, "no room"));
    o = run("print t.yaml --out t.pdf");
    check_has(o.out, "Tip: at_mm: [0, 127].");
    assert_null(strstr(o.out, "no room"));
    assert_int_equal(shell("pdftotext t.pdf t.txt"), 0);
    read_text("t.txt", text, sizeof text);
    check_has(text, "at_mm: [0, 127]");
    check_has(text, "tip to the point");
    tr_sheet s = text_pointer(tr_v2(0, 80), tr_v2(0, 120)); /* a tag where the tip would be */
    tr_artwork a = lay_out(&s);
    assert_false(a.tip.is_there);
    assert_true(tr_findings_have(&a.left_out, TR_FOUND_NO_ROOM_TIP));
    tr_artwork_release(&a);
    tr_sheet_release(&s);
}

/* A line down to the edge, in the middle, with its words; on no checkerboard. */
static void a_board_tells_where_its_foot_is(void **state) {
    (void)state;
    static const int DPI = 300;
    char text[8192];
    tr_sheet board = make(design_of(TR_DESIGN_BOARD, "B", 0, 0));
    tr_artwork a = lay_out(&board);
    assert_true(a.foot.is_there);
    assert_int_equal(a.left_out.n, 0);
    tr_pages pages = plan(&a, NULL);
    print_pdf(&a, &pages, "foot.pdf");
    tr_image image = rasterise("foot.pdf", 1, DPI);
    for (double up = 6.5; up < 11.5; up += 0.5) {
        tr_vec2 at = tr_v2(0, -board.height_mm / 2 + up);
        assert_true(grey_at(&image, &pages.pages[0], at, DPI) < 128);
        for (int side = -1; side <= 1; side += 2) {
            tr_vec2 beside = tr_v2_add(at, tr_v2(side, 0));
            assert_true(grey_at(&image, &pages.pages[0], beside, DPI) > 245);
        }
    }
    assert_int_equal(shell("pdftotext foot.pdf foot.txt"), 0);
    read_text("foot.txt", text, sizeof text);
    check_has(text, "mark the floor below this line");
    tr_image_release(&image);
    tr_pages_release(&pages);
    tr_artwork_release(&a);
    tr_sheet_release(&board);
    tr_sheet checkerboard = make(design_of(TR_DESIGN_CHECKERBOARD, "C", 0, 0));
    a = lay_out(&checkerboard);
    assert_false(a.foot.is_there);
    tr_artwork_release(&a);
    tr_sheet_release(&checkerboard);
}

/* ---- starter kit ---- */

/* What its job says of its plates is what is printed on them. */
static void the_starter_kits_job_has_the_plates_plumb_marks(void **state) {
    (void)state;
    const char *source = getenv("TRAMMEL_SOURCE");
    tr_job job;
    tr_error err = {0};
    assert_int_equal(shell("cp -r '%s/testimages/kit' . && mkdir -p kit/lens && "
                           "cp '%s/testimages/lens/demo-phone.yaml' kit/lens/my-phone.yaml",
                           source, source),
                     0);
    must(tr_job_read("kit/job.yaml", &job, &err), &err);
    assert_int_equal(job.n_references, 4);
    for (int i = 0; i < job.n_references; i++) {
        const tr_reference *r = &job.references[i];
        tr_artwork a = lay_out(&job.sheets[r->sheet]);
        assert_true(a.plumb.is_there);
        CHECK_NEAR(r->at_mm.x, a.plumb_mm.x, 0);
        CHECK_NEAR(r->at_mm.y, a.plumb_mm.y, 0);
        tr_artwork_release(&a);
    }
    tr_job_release(&job);
}

static void the_starter_kit_is_whole(void **state) {
    (void)state;
    char path[TEMP_SIZE];
    const char *source = getenv("TRAMMEL_SOURCE");
    assert_non_null(source);
    tr_sheet_folder shop = {0}, kit = {0};
    tr_error err = {0};
    must(tr_sheet_folder_read(temp_path(path, source, "testimages/sheets"), &shop, &err), &err);
    must(tr_sheet_folder_read(temp_path(path, source, "testimages/kit/sheets"), &kit, &err), &err);
    assert_int_equal(kit.n, 6); /* four plates, a mat, a checkerboard */
    for (int i = 0; i < kit.n; i++) {
        const tr_sheet *s = &kit.sheets[i];
        char pdf[2 * TEMP_SIZE];
        assert_null(tr_sheet_folder_sheet(&shop, s->id));
        for (int k = 0; k < s->n_tags; k++) {
            assert_null(tr_sheet_folder_owner(&shop, s->tag_family, s->tags[k].id));
            assert_ptr_equal(tr_sheet_folder_owner(&kit, s->tag_family, s->tags[k].id), s);
        }
        /* The PDF beside it is of the same sheet. */
        const char *slash = strrchr(s->path, '/');
        snprintf(pdf, sizeof pdf, "%.400s/testimages/kit/%.100s", source, slash + 1);
        memcpy(strrchr(pdf, '.'), ".pdf", 5);
        if (s->kind == TR_SHEET_MAT) continue; /* in tiles */
        tr_image image = rasterise(pdf, 1, 300);
        tr_vec2 middle = tr_v2(s->width_mm / 2, s->height_mm / 2);
        check_all_marks(&image, s, middle, 300);
        tr_image_release(&image);
    }
    tr_sheet_folder_release(&shop);
    tr_sheet_folder_release(&kit);
    /* All that the job names is there but the lens, which is the reader's to make. */
    tr_job job;
    assert_false(tr_job_read(temp_path(path, source, "testimages/kit/job.yaml"), &job, &err));
    check_has(err.text, "lens/my-phone.yaml");
}

/* Each in a folder of its own. */
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(every_mark_of_a_plate_is_found_in_its_place),
        TEST(a_mat_with_turned_tags_is_printed_as_its_file_says),
        TEST(every_family_is_printed_as_libapriltag_reads_it),
        TEST(the_upper_left_square_is_black),
        TEST(discs_are_printed_in_their_place_and_size),
        TEST(ground_of_a_white_disc_needs_room),
        TEST(the_printed_rule_is_100_mm_long),
        TEST(tiles_put_together_give_the_same_places),
        TEST(neighbouring_tiles_share_their_crosses),
        TEST(pages_cover_the_face),
        TEST(cuts_go_round_tags),
        TEST(a_rule_is_never_cut),
        TEST(a_note_keeps_clear_of_the_rules),
        TEST(pages_have_the_sizes_of_iso_216),
        TEST(an_svg_has_its_size_in_mm_and_every_mark_in_its_place),
        TEST(a_printed_checkerboard_is_found_by_the_finder_of_boards),
        TEST(only_a_full_grid_is_a_board),
        TEST(designs_of_many_sizes_are_sound),
        TEST(a_checkerboard_of_any_pitch_has_a_size),
        TEST(numbers_and_names_are_read_back_exactly),
        TEST(tag_ids_are_never_given_twice),
        TEST(what_was_designed_is_told_in_few_words),
        TEST(the_same_sheet_gives_the_same_bytes_without_a_time),
        TEST(words_of_any_script_are_printed),
        TEST(how_to_cut_tiles_is_told_alike),
        TEST(what_does_not_fit_is_told),
        TEST(bad_input_is_refused_in_words_and_nothing_is_written),
        TEST(help_fits_a_terminal),
        TEST(a_plate_has_a_plumb_mark_near_an_edge),
        TEST(what_a_job_needs_of_a_plumb_mark_is_told),
        TEST(a_pointers_tip_is_where_its_file_says),
        TEST(what_a_job_needs_of_a_tip_is_told),
        TEST(a_board_tells_where_its_foot_is),
        TEST(the_starter_kit_is_whole),
        TEST(the_starter_kit_leaves_nothing_for_git),
        TEST(the_starter_kits_job_has_the_plates_plumb_marks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
