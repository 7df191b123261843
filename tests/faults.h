/* Allocations that fail on order. Linked into a test program, faults.c stands before the C
   library's malloc, calloc, realloc, posix_memalign and aligned_alloc for the whole process,
   whoever calls them: this program's own code, libyaml, jansson, libjpeg, libpng, libexif, CHOLMOD,
   OpenCV, the C library.

   Some libraries are never refused any memory, since they do not survive it, or go on as if nothing
   had happened, and nothing could be learnt from either: libapriltag (uses unseen what calloc gave
   it), GLib (g_malloc aborts by design) and what is built on it or works beneath it (Pango,
   HarfBuzz, fontconfig, expat, FreeType), cairo and pixman (strokes silently left out, crashes),
   OpenCV's flann (uses unseen what its pool gave it), and the dynamic linker (ends the process
   where thread-local data get no memory). Only the thread counts that calls fault_arm.

   C++'s operator new calls malloc, but not where AddressSanitizer puts its own in the place: what
   OpenCV allocates by it is tried only in a build without. */
#ifndef TR_TESTS_FAULTS_H
#define TR_TESTS_FAULTS_H

#include <stdbool.h>

/* Allocation n (from 1) after this call fails, and if lasting is true every one after it. 0: none;
   they are only counted. With TRAMMEL_FAULT_TRACE in the environment, the call stack of the one
   that fails is printed. */
void fault_arm(long n, bool lasting);

/* Allocations stop failing. Returns how many there were since fault_arm. */
long fault_disarm(void);

/* Of the allocations since the last fault_arm(0, ...): how many distinct call stacks made them, and
   the number (from 1) of the first of each. A program that is run again in the same way makes the
   same allocations in the same order. */
enum { FAULT_MAX_PLACES = 1 << 15 };
int fault_places(const long **first);

#endif
