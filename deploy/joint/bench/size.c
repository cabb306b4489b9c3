/* Never run: an object as large as the joint's state, for the Makefile to look at. */
#include "endpoint.h"

char joint_size[sizeof(struct uj_endpoint)];
