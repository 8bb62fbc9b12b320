-- KEYS[4]: the events of the channel. ARGV: the place after which events are wanted (epoch, n).
local log, after_epoch, after = KEYS[4], ARGV[2], tonumber(ARGV[3])
local clock = redis.call('TIME')
local now = clock[1] * 1000 + math.floor(clock[2] / 1000)
local last = redis.call('LINDEX', log, -1)
if not last or string.match(last, '^%d+ (%w+) ') ~= epoch then
  return {epoch, n, now, '', 0, {}}
end
if after_epoch ~= epoch or after > n then
  return {epoch, n, now, last, 0, {}}
end
if after < tonumber(string.match(redis.call('LINDEX', log, 0), '^(%d+) ')) then
  return {epoch, n, now, last, 0, {}}
end
local missed = {}
for _, entry in ipairs(redis.call('LRANGE', log, 0, -1)) do
  if tonumber(string.match(entry, '^(%d+) ')) > after then
    table.insert(missed, entry)
  end
end
return {epoch, n, now, last, 1, missed}
