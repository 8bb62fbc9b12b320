-- A job is not known any more. KEYS: the job, its answer, all jobs, wishes of the process. ARGV: id, number of the write.
redis.call('DEL', KEYS[1], KEYS[2])
redis.call('ZREM', KEYS[3], ARGV[1])
redis.call('SREM', KEYS[4], ARGV[1])
-- An older write that Redis runs late finds this.
redis.call('HSET', KEYS[1], 'number', ARGV[2], 'state', 'dropped')
redis.call('PEXPIRE', KEYS[1], 60000)
return false
