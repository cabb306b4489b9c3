/* The version of what is built here: of the joint, and of the board that becomes it. */
#ifndef FIRMWARE
#define FIRMWARE "unisono-joint-c 1"
#endif
