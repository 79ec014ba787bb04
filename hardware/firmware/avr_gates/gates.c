/* Break-beam gates on an ATmega328-class board of 16 MHz: stamps every edge in steps of half a microsecond.
 *
 * What is said over the port, and why, stands in hardware/serial_protocol.md; how to build this and put it on a board in
 * hardware/firmware/README.md.
 *
 *   gate 0: pin PB0 (8 on many boards), stamped by the timer itself (input capture): to the step, however late we come
 *   gate 1: pin PD2 (2 on many boards), stamped at the beginning of its interrupt: 2 to some 20 microseconds late
 *
 * Interrupts only put things away; the main loop speaks. Data sheet: ATmega328P, DS40002061.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdlib.h>
#include <util/atomic.h>
#include <util/delay.h>

#define PROTOCOL 1
#define FIRMWARE "avr_gates"
#define VERSION "1.0"
#define GATES 2
#define COUNTER_BITS 32
#define TICK_NS 500      /* Timer 1 at 16 MHz / 8 */
#define LATE_US 40       /* gate 1: the longest other interrupt, and the way into its own; see tests/hardware/ */
#define WIRE_HZ 115200UL
#define SIGN_OF_LIFE (50000UL * 2)
#define NUMBERS_MASK 0x3FFFFFFFUL
#define ROOM 64 /* edges that may wait for the port; a power of two */
#define MOST_HEARD 40

typedef struct {
    uint32_t counter;
    uint32_t number;
    uint8_t gate;
    uint8_t level;
} edge_t;

static edge_t ring[ROOM];
static volatile uint8_t head; /* moved by interrupts only */
static volatile uint8_t tail; /* moved by the main loop only */
static volatile uint32_t next_number;
static volatile uint32_t overflows;
static volatile uint8_t changed[GATES];
static volatile uint8_t level_1; /* of gate 1, as told */

static volatile uint16_t rounds; /* of Timer 1 */

static uint8_t heard[MOST_HEARD];
static volatile uint8_t heard_count;
static volatile uint8_t heard_whole; /* a line is there; the main loop has not read it yet */
static volatile uint8_t heard_skips; /* until the end of the line */
static volatile uint32_t heard_at;   /* the counter when its first letter was there */

static uint32_t session;
static uint32_t crc;

/* --- the counter --------------------------------------------------------------------------------------------- */

/* The counter with its rounds, from what Timer 1 said a moment ago. Interrupts are off. */
static uint32_t widened(uint16_t low)
{
    uint16_t high = rounds;

    if ((TIFR1 & _BV(TOV1)) && low < 0x8000)
        high++; /* it went round, and the interrupt that counts rounds still waits */
    return (uint32_t)high << 16 | low;
}

static uint32_t now(void)
{
    uint32_t counter;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        counter = widened(TCNT1);
    }
    return counter;
}

ISR(TIMER1_OVF_vect)
{
    rounds++;
}

/* --- the gates ----------------------------------------------------------------------------------------------- */

/* Keep an edge, or count it where there is no room. Interrupts are off. */
static void put(uint8_t gate, uint8_t level, uint32_t counter)
{
    uint8_t after = (head + 1) & (ROOM - 1);

    if (after == tail) {
        overflows = (overflows + 1) & NUMBERS_MASK;
    } else {
        edge_t *edge = &ring[head];

        edge->counter = counter;
        edge->number = next_number;
        edge->gate = gate;
        edge->level = level;
        head = after;
    }
    next_number = (next_number + 1) & NUMBERS_MASK;
    changed[gate] = 1;
}

static uint8_t level_of_gate_0(void)
{
    return PINB >> PB0 & 1;
}

static uint8_t level_of_gate_1(void)
{
    return PIND >> PD2 & 1;
}

/* Wait for the other direction now. The flag must be cleared then (data sheet, 16.6.3). */
static void turn_capture(void)
{
    TCCR1B ^= _BV(ICES1);
    TIFR1 = _BV(ICF1);
}

ISR(TIMER1_CAPT_vect)
{
    uint32_t counter = widened(ICR1);
    uint8_t level = TCCR1B & _BV(ICES1) ? 1 : 0;

    turn_capture();
    put(0, level, counter);
    if (level_of_gate_0() == level)
        return;
    _delay_us(1); /* the noise canceller takes four clocks to let an edge through */
    if (TIFR1 & _BV(ICF1))
        return; /* it came back after the turn, and was captured */
    turn_capture(); /* it came back before: nobody has a better time for it than now */
    put(0, !level, widened(TCNT1));
}

/* Each call stands for an edge at least, and the first is away from the level that was told last. */
ISR(INT0_vect)
{
    uint32_t counter = widened(TCNT1);

    level_1 = !level_1;
    put(1, level_1, counter);
    if (level_of_gate_1() == level_1)
        return;
    __asm__ __volatile__("nop\n\tnop"); /* an edge is seen at the pin a clock before it is in the flag */
    if (EIFR & _BV(INTF0))
        return; /* it came back after we were called: we are called again */
    level_1 = !level_1; /* it came back before: one flag for two edges */
    put(1, level_1, counter);
}

/* --- listening ----------------------------------------------------------------------------------------------- */

ISR(USART_RX_vect)
{
    uint16_t low = TCNT1;
    uint8_t letter = UDR0;

    if (letter == '\n' && heard_whole) {
        heard_skips = 0;
    } else if (letter == '\n') {
        heard_whole = heard_count != 0 && !heard_skips;
        if (!heard_whole)
            heard_count = 0;
        heard_skips = 0;
    } else if (heard_whole || heard_count == MOST_HEARD) {
        heard_skips = 1; /* the main loop is behind, or this is no line for us */
        if (!heard_whole)
            heard_count = 0;
    } else if (!heard_skips) {
        if (heard_count == 0)
            heard_at = widened(low);
        heard[heard_count++] = letter;
    }
}

/* --- speaking ------------------------------------------------------------------------------------------------ */

/* CRC-32 of ITU-T V.42, four bits at a time. */
static uint32_t crc_with(uint32_t rest, uint8_t byte)
{
    static const uint32_t table[16] PROGMEM = {
        0x00000000, 0x1db71064, 0x3b6e20c8, 0x26d930ac, 0x76dc4190, 0x6b6b51f4, 0x4db26158, 0x5005713c,
        0xedb88320, 0xf00f9344, 0xd6d6a3e8, 0xcb61b38c, 0x9b64c2b0, 0x86d3d2d4, 0xa00ae278, 0xbdbdf21c,
    };

    rest = rest >> 4 ^ pgm_read_dword(&table[(rest ^ byte) & 15]);
    return rest >> 4 ^ pgm_read_dword(&table[(rest ^ byte >> 4) & 15]);
}

static void send(uint8_t byte)
{
    while (!(UCSR0A & _BV(UDRE0)))
        ;
    UDR0 = byte;
}

static void say_letter(uint8_t letter)
{
    crc = crc_with(crc, letter);
    send(letter);
}

static void say(const char *text)
{
    while (*text)
        say_letter(*text++);
}

static void say_number(uint32_t number)
{
    char digits[11];

    say_letter(' ');
    say(ultoa(number, digits, 10));
}

static void begin(char kind)
{
    crc = 0xFFFFFFFF;
    say_letter(kind);
    say_number(session);
}

static void end(void)
{
    uint32_t check = crc ^ 0xFFFFFFFF;

    send(' ');
    for (uint8_t digit = 0; digit < 8; digit++, check <<= 4)
        send("0123456789abcdef"[check >> 28]);
    send('\n');
}

static uint32_t of(volatile uint32_t *counted)
{
    uint32_t value;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        value = *counted;
    }
    return value;
}

static void say_hello(void)
{
    begin('H');
    say_number(PROTOCOL);
    say(" " FIRMWARE " " VERSION);
    say_number(GATES);
    say_number(COUNTER_BITS);
    say_number(TICK_NS);
    say_number(LATE_US);
    say_number(WIRE_HZ);
    say_number(of(&next_number));
    say_letter(' ');
    say_letter('0' + changed[0]);
    say_letter('0' + changed[1]);
    end();
}

static void say_edges(void)
{
    while (tail != head) {
        edge_t edge = ring[tail];

        tail = (tail + 1) & (ROOM - 1); /* its place is free from here on */
        begin('E');
        say_number(edge.number);
        say_number(edge.gate);
        say_number(edge.level);
        say_number(edge.counter);
        end();
    }
}

/* Every edge up to `counter` is out before this line: so the counter was read first, by the caller. */
static void say_mark(char kind, uint32_t token, uint32_t counter)
{
    uint32_t number, lost, left;
    uint8_t levels[GATES], waits;

    do {
        say_edges();
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
        {
            waits = tail != head;
            number = next_number;
            lost = overflows;
            levels[0] = level_of_gate_0();
            levels[1] = level_of_gate_1();
        }
    } while (waits);
    left = now();
    begin(kind);
    if (kind == 'T')
        say_number(token);
    say_number(counter);
    say_number(number);
    say_letter(' ');
    say_letter('0' + levels[0]);
    say_letter('0' + levels[1]);
    say_number(lost);
    if (kind == 'T')
        say_number(left - counter);
    end();
}

/* --- understanding ------------------------------------------------------------------------------------------- */

/* "kind number crc" -> number; 0xFFFFFFFF if it is damaged or not for us. */
static uint32_t number_heard(void)
{
    uint32_t number = 0, rest = 0xFFFFFFFF;
    uint8_t blank = heard_count - 9, i;

    if (heard_count < 12 || heard[1] != ' ' || heard[blank] != ' ')
        return 0xFFFFFFFF;
    for (i = 0; i < blank; i++)
        rest = crc_with(rest, heard[i]);
    rest ^= 0xFFFFFFFF;
    for (i = 0; i < 8; i++, rest <<= 4)
        if (heard[blank + 1 + i] != (uint8_t) "0123456789abcdef"[rest >> 28])
            return 0xFFFFFFFF;
    for (i = 2; i < blank; i++) {
        if (heard[i] < '0' || heard[i] > '9' || i > 11)
            return 0xFFFFFFFF;
        number = number * 10 + (heard[i] - '0');
    }
    return number;
}

static void listen(void)
{
    uint32_t number, counter;
    uint8_t kind;

    if (!heard_whole)
        return;
    number = number_heard();
    kind = heard[0];
    counter = heard_at;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) /* the next line may come while we answer */
    {
        heard_count = 0;
        heard_whole = 0;
    }
    if (number != 0xFFFFFFFF && kind == 'p') {
        say_mark('T', number, counter);
    } else if (number != 0xFFFFFFFF && kind == 'h') {
        say_edges(); /* those of the session before */
        session = number;
        say_hello();
    }
}

static void set_up(void)
{
    PORTB |= _BV(PB0); /* pull-ups: sensors may only pull down */
    PORTD |= _BV(PD2);
    _delay_us(10);
    UCSR0A = _BV(U2X0); /* 16 MHz / 8 / 17 = 117 647, 2.1 % fast */
    UBRR0 = 16;
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    level_1 = level_of_gate_1();
    EICRA = _BV(ISC00); /* any change */
    EIMSK = _BV(INT0);
    TCCR1A = 0;
    TCCR1B = _BV(ICNC1) | _BV(CS11) | (level_of_gate_0() ? 0 : _BV(ICES1));
    TIFR1 = _BV(ICF1) | _BV(TOV1);
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
    EIFR = _BV(INTF0);
    sei();
}

int main(void)
{
    uint32_t said;

    set_up();
    say_hello();
    said = now();
    for (;;) {
        uint32_t counter = now();

        listen();
        say_edges();
        if (counter - said >= SIGN_OF_LIFE) {
            said = counter;
            say_mark('L', 0, counter);
        }
    }
}
