/* A Modbus RTU server on a serial device, by libmodbus: units 1 to 8, whose holding register at each address holds a value that
 * follows from unit and address. Says "serving" and serves until it is killed. */

#include <modbus/modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define UNITS 8
#define REGISTERS 100
/* Unit, function, address, count, check sum. */
#define READ_REQUEST 8

static void fill(modbus_mapping_t *table, int unit)
{
    for (int address = 0; address < REGISTERS; address++)
        table->tab_registers[address] = (uint16_t)(address * 31 + unit * 1009);
}

static modbus_t *opened(const char *device, int unit)
{
    modbus_t *line = modbus_new_rtu(device, 19200, 'N', 8, 1);
    if (!line || modbus_set_slave(line, unit) != 0 || modbus_connect(line) != 0)
        exit(EXIT_FAILURE);
    return line;
}

int main(int count, char **arguments)
{
    modbus_mapping_t *table = modbus_mapping_new(0, 0, REGISTERS, 0);
    if (count != 2 || !table)
        return EXIT_FAILURE;
    modbus_t *line = opened(arguments[1], 1);
    puts("serving");
    fflush(stdout);
    for (;;) {
        uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
        int length = modbus_receive(line, request);
        /* 0 stands for a whole request to another unit than the one that was set; each here is a request to read. The library
         * would now wait for that unit's answer to pass: open the line anew as that unit. */
        if (length == 0) {
            length = READ_REQUEST;
            modbus_close(line);
            modbus_free(line);
            line = opened(arguments[1], request[0]);
        }
        if (length > 0 && request[0] >= 1 && request[0] <= UNITS) {
            fill(table, request[0]);
            modbus_reply(line, request, length, table);
        }
    }
}
