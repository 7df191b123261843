/* In which unit lengths are told to people. Inside, and in files and JSON, they are millimetres. */
#ifndef TR_PRESENT_UNIT_H
#define TR_PRESENT_UNIT_H

typedef enum { TR_MM, TR_INCH } tr_length_unit;

#define TR_MM_PER_INCH 25.4 /* exact: ISO 80000-3:2019, annex B */

#endif
