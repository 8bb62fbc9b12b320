-- One request counted: KEYS[1] holds the microsecond until which what was asked for takes at an even pace.
-- ARGV: microseconds that one request takes, and how many of them may be used up. Gives {allowed, used up}.
local time = redis.call('TIME')
local now = time[1] * 1000000 + time[2]
local step, window = tonumber(ARGV[1]), tonumber(ARGV[2])
local used = math.max(0, (tonumber(redis.call('GET', KEYS[1])) or now) - now)
-- Steps are rounded to whole microseconds, so the last one of a window may stand over it by half of one each.
if used + step > window + window / step then return {0, used} end
used = used + step
redis.call('SET', KEYS[1], string.format('%.0f', now + used), 'PX', math.ceil(used / 1000) + 1)
return {1, used}
