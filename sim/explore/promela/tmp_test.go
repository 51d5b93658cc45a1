package promela
import ("testing";"os";"cuewright/macro/program")
func TestTmp(t *testing.T){
 all:=samples(t,60)
 for from:=0;from<60;from+=20 {
 var ps []*program.Program
 k:= -1
 for _,s:=range all[from:from+20]{ if s.faults==0{ if s.seed==44{k=len(ps)}; ps=append(ps,s.p)}}
 if k<0 {continue}
 t.Log(k,len(ps))
 out,err:=Batch(ps,Options{})
 if err!=nil{t.Fatal(err)}
 os.WriteFile("/tmp/sp/b.pml",out,0o644)
 out,err=Batch(ps[k:k+1],Options{})
 os.WriteFile("/tmp/sp/b1.pml",out,0o644)
 }
}
