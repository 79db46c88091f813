// SPDX-License-Identifier: GPL-2.0
/*
 * A simulated sensor of the shop's air for the appliance rig: an I2C bus with one chip
 * at its end, which the kernel's own driver sht4x reads. What the air is, and what is
 * wrong with the chip, is set in /sys/module/air/parameters.
 *
 * The chip, from memory of its data sheet, compared with what the driver expects: at
 * address 0x44; one byte is a command, FD measures as well as it can, which takes 6.9
 * ms, 94 begins anew. Then six bytes can be read: temperature and humidity, each two
 * bytes, high one first, and their CRC-8 (polynomial 31, from FF, not turned round). Of
 * 65535 parts, the temperature is -45 C and 175 C more, the humidity -6 % and 125 % more,
 * so that it can show what no air can be. It does not acknowledge what it cannot answer.
 */
#include <linux/delay.h>
#include <linux/i2c.h>
#include <linux/kernel.h>
#include <linux/ktime.h>
#include <linux/module.h>
#include <linux/platform_device.h>

#define ADDRESS 0x44
#define MEASURE 0xfd
#define RESET 0x94
#define MEASURED_IN 6900000 /* ns */
#define HELD_MS 1000 /* as long as a bus driver waits for a line that is held */

enum fault { NONE, SILENT, WRONG_CRC, HELD };

static int temperature = 20000;
module_param(temperature, int, 0644);
MODULE_PARM_DESC(temperature, "of the air, in thousandths of a degree Celsius");
static int humidity = 50000;
module_param(humidity, int, 0644);
MODULE_PARM_DESC(humidity, "of the air, in thousandths of a percent");
static uint fault;
module_param(fault, uint, 0644);
MODULE_PARM_DESC(fault, "0 none, 1 does not answer, 2 wrong CRC, 3 the bus is held");
static uint transfers;
module_param(transfers, uint, 0444);
MODULE_PARM_DESC(transfers, "how often the bus was used");

static struct platform_device *board;
static bool asked;
static u64 ready; /* ns of the monotonic clock */
static u8 answer[6];

static u8 crc_of(const u8 *bytes, unsigned int count)
{
	u8 crc = 0xff, bit;

	while (count--) {
		crc ^= *bytes++;
		for (bit = 0; bit < 8; bit++)
			crc = crc & 0x80 ? crc << 1 ^ 0x31 : crc << 1;
	}
	return crc;
}

/* Where a value lies from lowest to highest. */
static void put(u8 *bytes, int value, int lowest, int highest)
{
	s64 part = clamp(value, lowest, highest) - lowest;
	u64 count = DIV_ROUND_CLOSEST_ULL(part * 65535, highest - lowest);

	bytes[0] = count >> 8;
	bytes[1] = count;
	bytes[2] = crc_of(bytes, 2) ^ (fault == WRONG_CRC ? 0x5a : 0);
}

static int take(const struct i2c_msg *message)
{
	if (message->len != 1 || (message->buf[0] != MEASURE && message->buf[0] != RESET))
		return -ENXIO;
	asked = message->buf[0] == MEASURE;
	if (!asked)
		return 0;
	ready = ktime_get_ns() + MEASURED_IN;
	put(answer, temperature, -45000, 130000);
	put(answer + 3, humidity, -6000, 119000);
	return 0;
}

static int give(struct i2c_msg *message)
{
	if (!asked || ktime_get_ns() < ready || message->len > sizeof(answer))
		return -ENXIO;
	memcpy(message->buf, answer, message->len);
	asked = false;
	return 0;
}

/* The bus is locked by its caller. */
static int transfer(struct i2c_adapter *bus, struct i2c_msg *messages, int count)
{
	int number, done = 0;

	transfers++;
	if (fault == HELD) {
		msleep(HELD_MS);
		return -ETIMEDOUT;
	}
	for (number = 0; number < count && !done; number++) {
		struct i2c_msg *message = &messages[number];

		if (message->addr != ADDRESS || fault == SILENT)
			return -ENXIO;
		done = message->flags & I2C_M_RD ? give(message) : take(message);
	}
	return done ? done : count;
}

static u32 functions(struct i2c_adapter *bus)
{
	return I2C_FUNC_I2C;
}

static const struct i2c_algorithm wires = {
	.master_xfer = transfer,
	.functionality = functions,
};

static struct i2c_adapter bus = {
	.owner = THIS_MODULE,
	.name = "simulated air",
	.algo = &wires,
};

static int __init air_start(void)
{
	int done;

	board = platform_device_register_simple("air", PLATFORM_DEVID_NONE, NULL, 0);
	if (IS_ERR(board))
		return PTR_ERR(board);
	bus.dev.parent = &board->dev;
	done = i2c_add_adapter(&bus);
	if (done)
		platform_device_unregister(board);
	return done;
}

static void __exit air_end(void)
{
	i2c_del_adapter(&bus);
	platform_device_unregister(board);
}

module_init(air_start);
module_exit(air_end);
MODULE_LICENSE("GPL");
MODULE_DESCRIPTION("A simulated sensor of the shop's air, for tests");
