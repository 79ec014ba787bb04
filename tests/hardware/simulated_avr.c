/* Runs the firmware of an ATmega328P cycle by cycle (libsimavr), with pins and a serial line that are moved by a script.
 *
 * simulated_avr gates.elf < script > what was said
 *
 * The script has one line for each thing that happens, in order of time: "cycle pin port bit level", "cycle say hex" (one
 * byte into the receiver), "cycle sync", which is answered by "= cycle", and "cycle end". Written is "> cycle hex" for each
 * byte that goes to the transmitter; other lines are the simulator's own words.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "avr_ioport.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"

#define HZ 16000000ULL

static avr_t *avr;

static void said(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    printf("> %llu %02x\n", (unsigned long long)avr->cycle, value & 0xff);
}

static void run_until(unsigned long long cycle)
{
    while (avr->cycle < cycle) {
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the firmware has ended (state %d)\n", state);
            exit(2);
        }
    }
}

/* Drive a pin from outside, stronger than its pull-up. */
static void pin(char port, int bit, int level)
{
    static uint8_t driven[2], high[2]; /* of ports B and D */
    avr_ioport_external_t outside = {.name = port, .mask = driven[port == 'D'] |= 1 << bit};

    if (level)
        high[port == 'D'] |= 1 << bit;
    else
        high[port == 'D'] &= ~(1 << bit);
    outside.value = high[port == 'D'];
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &outside);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), level);
}

static void hear(int byte)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
}

/* simavr 1.6 takes every write to TIFR1 for one that clears all flags (its issue 414, mended after 1.6). A one clears its
 * own flag only (data sheet of the ATmega328P, 16.11.9), so an overflow that was not meant is raised again here. */
#define TIFR1 0x36
#define TOV1 1
#define TIMER1_OVF 13

static avr_io_write_t clear_flags;
static void *clear_flags_of;

static void clear_flags_as_written(avr_t *chip, avr_io_addr_t address, uint8_t value, void *param)
{
    int was_over = chip->data[address] & TOV1;

    (void)param;
    clear_flags(chip, address, value, clear_flags_of);
    if (was_over && !(value & TOV1))
        for (int i = 0; i < chip->interrupts.vector_count; i++)
            if (chip->interrupts.vector[i]->vector == TIMER1_OVF)
                avr_raise_interrupt(chip, chip->interrupts.vector[i]);
}

static void mend_flags(void)
{
    clear_flags = avr->io[AVR_DATA_TO_IO(TIFR1)].w.c;
    clear_flags_of = avr->io[AVR_DATA_TO_IO(TIFR1)].w.param;
    avr->io[AVR_DATA_TO_IO(TIFR1)].w.c = clear_flags_as_written;
}

static void run_script(void)
{
    char line[100], what[10], port;
    unsigned long long cycle;
    int bit, level;
    unsigned byte;

    while (fgets(line, sizeof line, stdin)) {
        if (sscanf(line, "%llu %9s", &cycle, what) != 2)
            exit(4);
        run_until(cycle);
        if (sscanf(line, "%*u pin %c %d %d", &port, &bit, &level) == 3)
            pin(port, bit, level);
        else if (sscanf(line, "%*u say %x", &byte) == 1)
            hear(byte);
        else if (!strcmp(what, "sync")) {
            printf("= %llu\n", cycle);
            fflush(stdout);
        } else
            return;
    }
}

int main(int argc, char **argv)
{
    elf_firmware_t firmware;
    uint32_t flags = 0;

    memset(&firmware, 0, sizeof firmware);
    if (argc < 2 || elf_read_firmware(argv[1], &firmware) != 0)
        return 1;
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        return 1;
    avr_init(avr);
    avr->log = LOG_ERROR;
    firmware.frequency = HZ;
    avr_load_firmware(avr, &firmware);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags); /* neither to the screen, nor sleeping while polled */
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), said, NULL);
    mend_flags();
    pin('B', 0, 0);
    pin('D', 2, 0);
    run_script();
    return 0;
}
