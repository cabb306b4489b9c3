/* Never run: objects as large as the joint's state and that of images, for the Makefile to look at. */
#include "endpoint.h"
#include "update.h"

char joint_size[sizeof(struct uj_endpoint)];
char update_size[sizeof(struct uj_update)];
