[(part) (block) (work) (circuit)] @fold
