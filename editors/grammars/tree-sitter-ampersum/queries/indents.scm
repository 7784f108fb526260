[(part) (block) (work)] @indent.begin

"end" @indent.branch @indent.end
