-- A sign of life. KEYS: that of the process, its wishes. ARGV: its number, ms that it holds.
-- Answers the number before, and the jobs that somebody wishes to be cancelled.
local before = redis.call('GET', KEYS[1])
redis.call('SET', KEYS[1], ARGV[1], 'PX', ARGV[2])
return {before or '', redis.call('SMEMBERS', KEYS[2])}
