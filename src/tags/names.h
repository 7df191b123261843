/* The tag families that are known, all of libapriltag 3.3: the one list of them. */
#ifndef TR_TAGS_NAMES_H
#define TR_TAGS_NAMES_H

/* X(name, how many tags it has): the latter is ncodes of libapriltag's table. */
#define TR_TAG_FAMILIES(X)                                                                         \
    X(tag36h11, 587)                                                                               \
    X(tag36h10, 2320)                                                                              \
    X(tag25h9, 35)                                                                                 \
    X(tag16h5, 30)                                                                                 \
    X(tagCircle21h7, 38)                                                                           \
    X(tagCircle49h12, 65535)                                                                       \
    X(tagCustom48h12, 42211)                                                                       \
    X(tagStandard41h12, 2115)                                                                      \
    X(tagStandard52h13, 48714)

/* How many ids a tag family has (tag36h11: 587); 0 for a family that is not known. */
int tr_tag_family_size(const char *family);

#endif
