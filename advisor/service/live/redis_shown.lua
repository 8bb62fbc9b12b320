-- ARGV[2]: 1 to list the channels with a state and when it came.
if ARGV[2] == '1' then
  return {epoch, n, redis.call('ZRANGE', KEYS[2], 0, -1, 'WITHSCORES')}
end
return {epoch, n, {}}
